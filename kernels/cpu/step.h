/// The passes over beads that make up a time step, and the partner lists they read; compiled once per instruction set.
/// A pass works on groups of `width` beads contiguous in memory. Lanes are beads, and nothing is summed across lanes.
/// Groups may be distributed to threads in any way.
#pragma once

#include "cpu/record.h"
#include "gyrebox/run_spec.h"
#include "model/noise.h"
#include "model/two_steps.h"

namespace gyrebox::kernels {

struct CellGrid;

/// Partners within the reach of a bead: partner k of lane l of group g is partners[(g * capacity + k) * width + l].
/// Rows past a bead's own count are never read as partners.
struct PartnerList {
  const std::uint32_t* partners = nullptr;
  const std::uint32_t* counts = nullptr;  ///< (padded beads)
  std::int64_t capacity = 0;              ///< rows per group
};

/// Everything that the passes of a step read: plain numbers and non-owning pointers.
struct StepInput {
  std::int64_t n_beads = 0;
  std::int64_t n_padded = 0;
  const BeadRecord* in = nullptr;  ///< (padded beads) positions, kinds, and motions as partners read them
  PartnerList list;

  double side_x = 0, side_y = 0;  ///< sigma
  ForceSpec force;
  FrictionSpec friction;
  DragSpec drag;
  double temperature = 0;          ///< epsilon
  double time_step = 0;            ///< tau
  double transverse_coupling = 0;  ///< zeta_0; Brownian only
  StepKeys keys{};
  bool rate_imposed = false;
  float torque = 0;                ///< epsilon, the same on every spinner in this step
  const float* torques = nullptr;  ///< (padded beads) or null: instead of `torque`
};

/// Input and output arrays of a move.
struct MoveOutput {
  const BeadRecord* motion = nullptr;   ///< (padded beads) motion to follow; may be the `in` of the step
  const BeadRecord* before = nullptr;   ///< (padded beads) motion of the previous step; may be the `in` of the step
  double weight = 0;                    ///< of the change of motion since then, see model/two_steps.h
  BeadRecord* out = nullptr;            ///< (padded beads), overlapping neither
  const float* remainder_in = nullptr;  ///< (2 * padded beads): x of all, then y of all; quanta
  float* remainder_out = nullptr;
  /// (3 * padded beads): x of all, y of all, spin of all; or null. For extrapolating sweeps, whose records hold
  /// expected motions: motions of the previous step and of this one.
  const float* motion_in = nullptr;
  float* motion_out = nullptr;
  /// (padded beads) or null, for the same sweeps: thermal parts of the motion in the previous step and in this one.
  const ThermalMotion* thermal_in = nullptr;
  ThermalMotion* thermal_out = nullptr;
  const std::uint32_t* built_x = nullptr;  ///< (padded beads) positions at the last list build
  const std::uint32_t* built_y = nullptr;
  double time = 0;  ///< duration of the move, tau
};

/// Health of the beads in a step.
struct StepHealth {
  float closest_squared = 1e30f;    ///< sigma^2, of all pairs in reach, before the move
  float largest_move_squared = 0;   ///< sigma^2
  float largest_drift_squared = 0;  ///< sigma^2, since the last list build, after the move
};

/// Memory of the friction solver. Vectors are (3 * padded beads): x of all, y of all, spin of all.
struct SolverMemory {
  const BeadRecord* judged = nullptr;  ///< (padded beads) positions, and the motion that is judged
  const BeadRecord* before = nullptr;  ///< (padded beads) the motion judged before; may be `made`
  BeadRecord* made = nullptr;          ///< (padded beads) receives the next motion; null if none is wanted
  float* random = nullptr;             ///< thermal forces and torques
  bool parted = false;                 ///< the judged motion has no thermal part
  float* known = nullptr;              ///< all forces and torques but friction
  float* terms = nullptr;              ///< (5 * padded beads): each bead's terms of the sums of a pass
};

/// Input and output of a list build.
struct ListInput {
  std::int64_t n_beads = 0;
  const std::uint32_t* x = nullptr;  ///< (padded beads), in memory order
  const std::uint32_t* y = nullptr;
  double side_x = 0, side_y = 0, reach = 0;  ///< sigma
  const std::uint32_t* cell_start = nullptr;
  std::uint32_t* partners = nullptr;
  std::uint32_t* counts = nullptr;
  std::int64_t capacity = 0;
};

/// The code for one instruction set. Every pass takes groups [first, last).
struct StepCode {
  const char* name;
  int width;  ///< lanes: beads per group
  /// A whole step of the lagged or Brownian dynamics, in one pass.
  StepHealth (*lagged)(const StepInput&, const MoveOutput&, std::int64_t first, std::int64_t last);
  StepHealth (*brownian)(const StepInput&, const MoveOutput&, std::int64_t first, std::int64_t last);

  /// Thermal forces at the positions of `in`, into memory.random.
  void (*noise)(const StepInput&, const SolverMemory&, std::int64_t first, std::int64_t last);
  /// Judges the motion of memory.judged at its positions, stores the known forces, and computes the next motion. Terms:
  /// those of FirstSweep; if no next motion is wanted, those of RelativeResidual() or ResidualBesideNoise(). Fills only
  /// the closest pair of the health.
  StepHealth (*begin)(const StepInput&, const SolverMemory&, std::int64_t first, std::int64_t last);
  /// Judges a motion and computes the next, see SolveBySweeps(). Terms: those of SweepSums.
  void (*sweep)(const StepInput&, const SolverMemory&, float omega, std::int64_t first, std::int64_t last);
  /// Moves the positions of `in` by a motion.
  StepHealth (*move)(const StepInput&, const MoveOutput&, std::int64_t first, std::int64_t last);

  /// Lists the partners of beads. @return the largest count. If it exceeds the capacity, the list is incomplete and
  /// must be rebuilt with a larger one.
  std::uint32_t (*list)(const ListInput&, const CellGrid&, std::int64_t first, std::int64_t last);
};

/// The widest code that this machine can run. Throws std::runtime_error if it has no fused multiply-add (x86-64-v3).
const StepCode& BestStepCode();
/// All codes that this machine can run, for tests: their results are bitwise identical.
struct StepCodes {
  const StepCode* codes[2];
  int count;
};
StepCodes RunnableStepCodes();

namespace v3 {
extern const StepCode kStepCode;
}
namespace v4 {
extern const StepCode kStepCode;
}

}  // namespace gyrebox::kernels
