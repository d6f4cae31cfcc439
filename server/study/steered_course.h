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

/// Running maxima of frequencies and peaks, and the present settings, ramps at their ends. Takes adjustments in the
/// order in which they take effect.
struct CourseFold {
  FrequencyFold frequencies;
  kernels::PeakFold peaks;
  kernels::Settings now;
  explicit CourseFold(const SteerPoint& point);
  void Add(const kernels::Adjustment& adjustment);
  /// Whether the maxima may depend on an adjustment.
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

  /// Whether this journal entry is a change that has not taken effect and is not withdrawn.
  bool IsPlanned(int64_t entry) const;

  /// Checks an adjustment from a step on, which must be at or after reached(). Returns it, or all its faults.
  RequestedAdjustment Ask(int64_t step, int64_t ramp_steps,
                          const google::protobuf::RepeatedPtrField<v1::FieldChange>& asked) const;
  /// Courses with equal keys give the same result except for its step. There is no key if adjustments lie ahead.
  using Key = std::tuple<const SteerPoint*, int64_t, size_t, std::vector<double>>;
  bool HasKey() const { return ahead_.empty(); }
  Key KeyAt(int64_t step) const;

 private:
  /// A steered adjustment that lies ahead.
  struct Planned {
    int64_t entry = 0;  ///< its number in the journal
    kernels::Adjustment adjustment;
  };

  /// Visits stages and steered adjustments in the order in which they take effect; for equal steps, stages come first.
  template <class Visit>
  static void Merge(const std::vector<kernels::Adjustment>& stages, size_t first, const std::vector<Planned>& ahead,
                    const Visit& visit);
  /// The fold over everything added so far, and over `more` unless it is null.
  CourseFold With(const kernels::Adjustment* more) const;
  /// Values that the fields of a change have before it, if it takes effect at a step.
  v1::RunSettings Before(int64_t step, const v1::RunSettings& change) const;

  std::shared_ptr<const SteerPoint> point_;
  CourseFold fold_;             ///< over everything before reached_
  size_t stages_folded_ = 0;    ///< stages of the point that fold_ includes
  std::vector<Planned> ahead_;  ///< from reached_ on, in order
  int64_t length_ = 0, reached_ = 0;
};

}  // namespace gyrebox::study
