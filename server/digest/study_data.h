/// Data of a study for its answers: every run summarized, point by point.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <string>
#include <vector>

#include "digest/digest.h"
#include "digest/digest_cache.h"
#include "digest/stages.h"
#include "estimators/curve.h"
#include "gyrebox/v1/analysis.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "schema/mark_text.h"
#include "store/store.h"
#include "study/stop.h"

namespace gyrebox::analysis {

/// Default observable for sizes.
inline constexpr const char* kDefaultObservable = kWeightAverage;

/// One point of a study.
struct Point {
  std::vector<double> axis_values;
  std::vector<Stage> stages;
  std::vector<RunDigest> runs;    ///< ordered by realization
  std::vector<RunDigest> audits;  ///< reruns with half the time step, if any; they enter no average
  v1::StepAudit audit;            ///< outcome of the audit
  bool identical = false;         ///< see study::RealizationsAreIdentical()
  double spinners = 0;            ///< in the bed; 0 if the start gives it

  schema::TrialCounts counts() const;
};

/// A study with all its points.
struct StudyData {
  v1::Study study;
  v1::AnalysisOptions options;  ///< with defaults filled in
  v1::Observable observable;    ///< only its name until a finished run is read
  v1::Observable other;         ///< the average over clusters that is shown beside it
  std::vector<v1::AnalysisAxis> axes;
  std::vector<Point> points;  ///< in the order of the study, the first axis slowest

  const v1::StudySpec& spec() const { return study.spec(); }
};

/// The observable that is the size: the one asked for, else that of the study, else kDefaultObservable.
std::string LeadingObservable(const v1::StudySpec& spec, const std::string& asked);

/// Reads a study, one run at a time. INVALID_ARGUMENT if it measures no such single number.
/// @param cache of digests of depth kWhole; may be null.
/// @param again null for the stored series; else measures the kept frames again with these options.
absl::StatusOr<StudyData> ReadStudy(store::Store& store, int64_t id, const std::string& observable, Depth depth,
                                    DigestCache* cache = nullptr, const v1::MeasureAgain* again = nullptr,
                                    const study::Stop& stop = {});

/// A number of a run that counts; NaN if it has none.
using NumberOf = std::function<double(const RunDigest&)>;

/// Size on the last plateau.
double SizeOf(const RunDigest& run);
/// The other average over clusters there.
double OtherOf(const RunDigest& run);

/// Values of the runs that count and have the number.
std::vector<double> Values(const std::vector<RunDigest>& runs, const NumberOf& number);
/// The same for the runs of a point.
std::vector<double> Values(const Point& point, const NumberOf& number);

/// The values of a point at this x, with the realizations that they are of.
CurvePoint CurvePointOf(const Point& point, double x, const NumberOf& number);

/// Points that differ in one axis only.
struct CurveOf {
  std::vector<v1::AxisSetting> at;  ///< settings of the other axes
  std::vector<const Point*> points;
  int x_axis = -1;

  /// The points with the values of a number.
  std::vector<CurvePoint> With(const NumberOf& number) const;
};

/// The curves along an axis; for no axis (-1), curves of one point each at x 0.
std::vector<CurveOf> CurvesAlong(const StudyData& data, int x_axis);

}  // namespace gyrebox::analysis
