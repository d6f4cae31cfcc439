/// Measures runs again from their kept frames.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/still_measure.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/observable.pb.h"
#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "store/store.h"
#include "study/stop.h"

namespace gyrebox::analysis {

/// All violations of these options. @param path of the message, such as "options.measure_again".
std::vector<v1::FieldViolation> FaultsOf(const v1::MeasureAgain& again, const std::string& path);

/// The kept frames of one run as a series.
class FrameSeries {
 public:
  /// Lists the frames of a run without reading them. @param spec of its study. @param again must be valid.
  static absl::StatusOr<FrameSeries> Open(store::Store& store, int64_t study, int64_t number, const v1::Run& run,
                                          const v1::StudySpec& spec, const v1::MeasureAgain& again);

  /// Observables that depend on positions alone.
  const std::vector<v1::Observable>& observables() const { return observables_; }
  int64_t size() const { return static_cast<int64_t>(stamps_.size()); }
  int64_t bead_count() const { return bead_count_; }
  /// Index of the first frame at or after a time in tau.
  int64_t IndexAt(double time) const;
  /// Measures at most `limit` frames from an index on; rows have the layout of a stored series.
  absl::StatusOr<store::SampleRows> Measure(int64_t from, int64_t limit, const study::Stop& stop = {}) const;

 private:
  FrameSeries(store::Store& store, int64_t study, int64_t number, const kernels::RunSpec& spec);

  store::Store* store_;
  int64_t study_, number_, bead_count_;
  std::shared_ptr<const kernels::StillMeasure> measure_;
  std::vector<v1::Observable> observables_;
  std::vector<store::FrameStamp> stamps_;
};

}  // namespace gyrebox::analysis
