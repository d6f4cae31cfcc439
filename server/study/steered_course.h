/// Folds the steering of a run, so that another adjustment costs the same even after ten thousand.
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

/// A study at a point, reduced to what steering depends on.
struct SteerPoint {
  explicit SteerPoint(v1::StudySpec at_point);

  v1::StudySpec at;  ///< without axes and without steering
  double time_step = 0;
  kernels::DriveSpec drive;
  std::vector<kernels::Adjustment> stages;
  std::vector<int64_t> stage_begins;  ///< first steps, including those of stages that change nothing
};

/// The points of a study. Points that do not differ for steering share one entry.
class SteerPoints {
 public:
  explicit SteerPoints(const v1::StudySpec& spec);
  std::shared_ptr<const SteerPoint> At(const v1::Run& run);
  int made() const { return static_cast<int>(points_.size()); }

 private:
  v1::StudySpec spec_;
  std::map<std::vector<double>, std::shared_ptr<const SteerPoint>> points_;  ///< by the axis values that matter
};

/// Running maxima of frequencies and peaks. Takes adjustments in the order in which they take effect.
struct CourseFold {
  FrequencyFold frequencies;
  kernels::PeakFold peaks;
  explicit CourseFold(const SteerPoint& point);
  void Add(const kernels::Adjustment& adjustment);
  static bool Concerns(const kernels::Adjustment& adjustment);
};

/// Steering of one run. Takes journal entries in their order.
class SteeredCourse {
 public:
  explicit SteeredCourse(std::shared_ptr<const SteerPoint> point);

  void Add(const v1::Adjustment& entry);
  /// The run has reached a step: nothing added later takes effect before it.
  void Reach(int64_t step);

  int64_t length() const { return length_; }    ///< journal entries
  int64_t reached() const { return reached_; }  ///< furthest step, from entries and Reach()
  double time_step() const { return point_->time_step; }

  /// Checks an adjustment from a step on, which must be at or after reached(). Returns it, or all its faults.
  RequestedAdjustment Ask(int64_t step, int64_t ramp_steps,
                          const google::protobuf::RepeatedPtrField<v1::FieldChange>& asked) const;
  /// Courses with equal keys give the same result except for its step. There is no key if adjustments lie ahead.
  using Key = std::tuple<const SteerPoint*, int64_t, size_t, std::vector<double>>;
  bool HasKey() const { return ahead_.empty(); }
  Key KeyAt(int64_t step) const;

 private:
  /// The fold over everything added so far, and over `more` unless it is null.
  CourseFold With(const kernels::Adjustment* more) const;

  std::shared_ptr<const SteerPoint> point_;
  CourseFold fold_;                         ///< over everything before reached_
  size_t stages_folded_ = 0;                ///< stages of the point that fold_ includes
  std::vector<kernels::Adjustment> ahead_;  ///< steered adjustments from reached_ on that affect the fold, in order
  int64_t length_ = 0, reached_ = 0;
};

}  // namespace gyrebox::study
