/// Which questions apply to a study; no other file decides this.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "digest/study_data.h"

namespace gyrebox::analysis {

/// Questions that apply to a study, from its axes and its stages. Axes are given by index.
struct Plan {
  int x_axis = -1;                 ///< axis of the curves; -1 for none
  bool x_is_drive = false;         ///< whether x is an amplitude of the drive, which has an onset
  std::optional<int> memory_axis;  ///< amplitude of a stage before the last; the last stage never changes
  std::vector<int> nuisance_axes;  ///< fields that should not matter
  bool stages = false;             ///< whether the drive changes during a run
  bool up_and_down = false;        ///< whether its amplitude rises and then falls

  bool map() const { return x_axis >= 0 && !memory_axis; }
};

Plan PlanOf(const StudyData& data);

/// Stages of the up and the down sweep, hold stages and ramps. Both include the turning point.
struct Sweep {
  std::vector<size_t> up, down;
};

/// The sweep of a schedule whose amplitude rises to one maximum and then falls to its initial value or below; else
/// none.
std::optional<Sweep> SweepOf(const std::vector<Stage>& stages);

}  // namespace gyrebox::analysis
