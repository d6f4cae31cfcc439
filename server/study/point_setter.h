/// Visits the points of a study one after another.
#pragma once

#include <algorithm>
#include <string_view>
#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "study/number_at.h"
#include "study/time_step.h"

namespace gyrebox::study {

/// Sets a single copy of the study to one point after another.
class PointSetter {
 public:
  explicit PointSetter(const v1::StudySpec& spec)
      : at_(spec),
        gives_solver_(spec.dynamics().overdamped().solver_case() != v1::Overdamped::SOLVER_NOT_SET),
        gives_step_(spec.dynamics().has_time_step() || HasAxisOver("dynamics.time_step")),
        gives_order_(spec.dynamics().has_step_order() || HasAxisOver("dynamics.step_order")) {}

  /// Same result as AtPoint(), valid until the next call. The point must have a value for every axis.
  const v1::StudySpec& At(const std::vector<double>& axis_values) {
    if (!gives_solver_ && at_.dynamics().has_overdamped()) at_.mutable_dynamics()->mutable_overdamped()->clear_solver();
    if (!gives_step_) at_.mutable_dynamics()->clear_time_step();
    if (!gives_order_) at_.mutable_dynamics()->clear_step_order();
    for (int i = 0; i < at_.axes_size(); ++i) SetNumberAt(&at_, at_.axes(i).field(), axis_values[i]);
    FillDynamics(&at_);
    return at_;
  }

  /// Whether the study itself gives the time steps of its points.
  bool gives_step() const { return gives_step_; }

 private:
  bool HasAxisOver(std::string_view field) const {
    return std::any_of(at_.axes().begin(), at_.axes().end(),
                       [&](const v1::Axis& axis) { return axis.field() == field; });
  }

  v1::StudySpec at_;
  bool gives_solver_, gives_step_, gives_order_;
};

}  // namespace gyrebox::study
