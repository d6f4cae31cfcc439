/// From a study to its runs: axes x trials.
#pragma once

#include <cstdint>
#include <vector>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// One run of a study, not yet run.
struct PlannedRun {
  std::vector<double> axis_values;  ///< in the order of the axes
  int trial = 1;                    ///< from 1
  v1::Seeds seeds;
};

/// Values of an axis, whether listed or made by a rule. The axis is sound.
std::vector<double> AxisValues(const v1::Axis& axis);

/// All combinations of the axes' values, the first axis slowest; one empty combination where there is no axis.
std::vector<std::vector<double>> Points(const v1::StudySpec& spec);

/// The study with the fields of its axes set to these values.
v1::StudySpec AtPoint(const v1::StudySpec& spec, const std::vector<double>& axis_values);

/// All runs in order: points as in Points(), the trials of a point next to each other. Run n of a study is element n-1.
/// Trial t takes the base seed + t - 1 for those seeds that the study varies.
std::vector<PlannedRun> Expand(const v1::StudySpec& spec);

}  // namespace gyrebox::study
