/// Which answers a study asks for: decided here and nowhere else.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/study_data.h"

namespace gyrebox::analysis {

/// What a study asks for, from its axes and its stages. Each axis is named by its place.
struct Plan {
  int x_axis = -1;                 ///< along which curves run; -1 where there is no axis
  bool x_is_drive = false;         ///< whether it is an amplitude of the drive, which has an onset
  std::optional<int> memory_axis;  ///< amplitude of a stage before the last, under a last stage that is always the same
  std::vector<int> nuisance_axes;  ///< fields that are not meant to matter
  bool stages = false;             ///< whether the drive changes in the course of a run
  bool up_and_down = false;        ///< whether its amplitude rises and then falls

  bool map() const { return x_axis >= 0 && !memory_axis; }
};

Plan PlanOf(const StudyData& data);

/// Stages of a sweep up and of the one down: those that hold, and those that ramp. The turning point is in both.
struct Sweep {
  std::vector<size_t> up, down;
};

/// The sweep of a course whose amplitude rises to one height and then falls, back to where it began or below; else
/// none.
std::optional<Sweep> SweepOf(const std::vector<Stage>& stages);

}  // namespace gyrebox::analysis
