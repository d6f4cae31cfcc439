/// A bed at one instant, as input to the observables. Arrays are indexed by bead id.
#pragma once

#include <cstdint>
#include <vector>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

struct Snapshot {
  double side_x = 0, side_y = 0;             ///< sigma
  double time = 0;                           ///< tau
  std::vector<std::uint32_t> x, y;           ///< (beads) fixed-point positions
  std::vector<std::int64_t> path_x, path_y;  ///< (beads) path since step 0 without the periodic wrap, quanta
  std::vector<float> vx, vy, spin;           ///< (beads) motion in the step that starts now, sigma/tau, rad/tau
  std::vector<float> torque;                 ///< (beads) imposed in that step, epsilon; empty where the rate is imposed
  std::vector<std::uint8_t> spinner;         ///< (beads) 1 for a spinner
  // Settings at this instant.
  double temperature = 0;
  FrictionSpec friction;
  // Computed by the step.
  double closest_pair = 0;       ///< sigma; NaN where no pair is within reach
  double largest_move = 0;       ///< sigma, in the step that starts now
  double friction_residual = 0;  ///< see RelativeResidual() and ResidualBesideNoise()
  std::int64_t lost_beads = 0;   ///< beads not found under their own id
};

}  // namespace gyrebox::kernels
