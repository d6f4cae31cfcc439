/// A study as its answers need it: every run boiled down, point by point.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <string>
#include <vector>

#include "analysis/curve.h"
#include "analysis/digest.h"
#include "analysis/digest_cache.h"
#include "analysis/stages.h"
#include "gyrebox/v1/analysis.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "schema/mark_text.h"
#include "store/store.h"
#include "study/stop.h"

namespace gyrebox::analysis {

/// Observable that sizes are taken from where none is asked for.
inline constexpr const char* kDefaultObservable = kWeightAverage;

/// One point of a study.
struct Point {
  std::vector<double> axis_values;
  std::vector<Stage> stages;
  std::vector<RunDigest> runs;    ///< in the order of their trials
  std::vector<RunDigest> audits;  ///< the same with half the time step, where there are any; they count in no average
  v1::StepAudit audit;            ///< what those say

  schema::TrialCounts counts() const;
};

/// A study, read.
struct StudyData {
  v1::Study study;
  v1::AnalysisOptions options;  ///< with their defaults
  v1::Observable observable;    ///< its name alone where no run has started
  std::vector<v1::AnalysisAxis> axes;
  std::vector<Point> points;  ///< in the order of the study, the first axis slowest

  const v1::StudySpec& spec() const { return study.spec(); }
};

/// Reads a study, one run at a time. INVALID_ARGUMENT where it measures no such single number.
/// @param cache where digests of whole depth are looked for and kept; may be null.
/// @param again null for what the runs measured; else takes all from their kept frames, measured again like this.
absl::StatusOr<StudyData> ReadStudy(store::Store& store, int64_t id, const std::string& observable, Depth depth,
                                    DigestCache* cache = nullptr, const v1::MeasureAgain* again = nullptr,
                                    const study::Stop& stop = {});

/// A number of a run that counts; NaN where it has none.
using NumberOf = std::function<double(const RunDigest&)>;

/// Size on the last plateau.
double SizeOf(const RunDigest& run);

/// Values of the runs that count and have the number.
std::vector<double> Values(const std::vector<RunDigest>& runs, const NumberOf& number);
/// Those of the runs of a point.
std::vector<double> Values(const Point& point, const NumberOf& number);

/// Points that differ in one axis only.
struct CurveOf {
  std::vector<v1::AxisSetting> at;  ///< the other axes
  std::vector<const Point*> points;
  int x_axis = -1;

  /// The points with the values of a number.
  std::vector<CurvePoint> With(const NumberOf& number) const;
};

/// The curves along an axis; one curve of one point, at x 0, where there is no axis (-1).
std::vector<CurveOf> CurvesAlong(const StudyData& data, int x_axis);

}  // namespace gyrebox::analysis
