/// What was steered in a run so far, folded together: another change costs the same after ten thousand.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <tuple>
#include <vector>

#include "gyrebox/step_choice.h"
#include "gyrebox/v1/steering.pb.h"
#include "study/schedule.h"
#include "study/steering.h"

namespace gyrebox::study {

/// A study at a point, as far as steering looks at it.
struct SteerPoint {
  explicit SteerPoint(v1::StudySpec at_point);

  v1::StudySpec at;  ///< without axes, and without what was steered
  double time_step = 0;
  kernels::DriveSpec drive;
  std::vector<kernels::Adjustment> stages;
  std::vector<int64_t> stage_begins;  ///< steps, also of stages that change nothing
};

/// The points of a study. Those that differ in nothing that steering looks at are one.
class SteerPoints {
 public:
  explicit SteerPoints(const v1::StudySpec& spec);
  std::shared_ptr<const SteerPoint> At(const v1::Run& run);
  int made() const { return static_cast<int>(points_.size()); }

 private:
  v1::StudySpec spec_;
  std::map<std::vector<double>, std::shared_ptr<const SteerPoint>> points_;  ///< by the values that count
};

/// What adjustments come to, folded in the order in which they take effect.
struct CourseFold {
  FrequencyFold frequencies;
  kernels::PeakFold peaks;
  explicit CourseFold(const SteerPoint& point);
  void Add(const kernels::Adjustment& adjustment);
  static bool Concerns(const kernels::Adjustment& adjustment);
};

/// Of one run. Entries of its journal are added in their order.
class SteeredCourse {
 public:
  explicit SteeredCourse(std::shared_ptr<const SteerPoint> point);

  void Add(const v1::Adjustment& entry);
  /// The run has come to a step: nothing that is added later holds before it.
  void Reach(int64_t step);

  int64_t length() const { return length_; }    ///< entries
  int64_t reached() const { return reached_; }  ///< furthest step that an entry found it at, or Reach() was told
  double time_step() const { return point_->time_step; }

  /// A change from a step on, which is reached() or later; or every fault of it.
  AskedChange Ask(int64_t step, int64_t ramp_steps,
                  const google::protobuf::RepeatedPtrField<v1::FieldChange>& asked) const;
  /// Courses with the same key give the same answer but for its step. None where this one has changes ahead.
  using Key = std::tuple<const SteerPoint*, int64_t, size_t, std::vector<double>>;
  bool HasKey() const { return ahead_.empty(); }
  Key KeyAt(int64_t step) const;

 private:
  /// All there is, and one change more.
  CourseFold With(const kernels::Adjustment* more) const;

  std::shared_ptr<const SteerPoint> point_;
  CourseFold fold_;                         ///< of all up to reached_
  size_t stages_folded_ = 0;                ///< of the point
  std::vector<kernels::Adjustment> ahead_;  ///< steered, from reached_ on, in their order; those that fold
  int64_t length_ = 0, reached_ = 0;
};

}  // namespace gyrebox::study
