/// The points of a study, one after another.
#pragma once

#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "study/number_at.h"

namespace gyrebox::study {

/// Goes through points with one copy of the study.
class PointSetter {
 public:
  explicit PointSetter(const v1::StudySpec& spec) : at_(spec) {}

  /// The same as AtPoint(), until the next call. Points have a value of every axis.
  const v1::StudySpec& At(const std::vector<double>& axis_values) {
    for (int i = 0; i < at_.axes_size(); ++i) SetNumberAt(&at_, at_.axes(i).field(), axis_values[i]);
    return at_;
  }

 private:
  v1::StudySpec at_;
};

}  // namespace gyrebox::study
