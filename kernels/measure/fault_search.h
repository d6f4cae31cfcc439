/// Finds the beads that a fault names, and sets the fault.
#pragma once

#include <cstdint>
#include <vector>

#include "dynamics/course.h"

namespace gyrebox::kernels {

/// The beads in a step that failed, by id.
struct FailedStep {
  std::vector<std::uint32_t> x, y;  ///< fixed-point positions before the step
  std::vector<float> vx, vy;        ///< velocities that the step computed, sigma/tau
};

/// Fails a run whose closest pair is below the limit. Of several pairs at one distance it names the one of lowest ids.
void FailClosestPair(const FailedStep& failed, Course& course);
/// Fails a run whose largest move exceeds the limit. Of several beads of one speed it names the lowest id.
/// @param largest_squared the move, sigma^2.
void FailLargestMove(const FailedStep& failed, float largest_squared, Course& course);

}  // namespace gyrebox::kernels
