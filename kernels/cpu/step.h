/// The passes over beads that make a time step, and the partner lists they read: compiled once for each instruction
/// set. A pass works on groups of `width` beads that follow each other in memory, lanes are beads, and nothing is
/// summed across lanes; groups may be shared out between threads in any way.
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

/// Everything that the passes of a step read. Plain numbers and borrowed memory.
struct StepInput {
  std::int64_t n_beads = 0;
  std::int64_t n_padded = 0;
  const BeadRecord* in = nullptr;  ///< (padded beads) places, kinds, and the motion that partners are seen to have
  PartnerList list;

  double side_x = 0, side_y = 0;  ///< sigma
  ForceSpec force;
  FrictionSpec friction;
  DragSpec drag;
  double temperature = 0;  ///< epsilon
  double time_step = 0;    ///< tau
  double swirl = 0;        ///< zeta_0; brownian only
  StepKeys keys{};
  bool rate_imposed = false;
  float torque = 0;                ///< epsilon, on every spinner in this step
  const float* torques = nullptr;  ///< (padded beads) or null: instead of `torque`
};

/// Where a move goes.
struct MoveOutput {
  const BeadRecord* motion = nullptr;   ///< (padded beads) motion to follow; may be the `in` of the step
  const BeadRecord* before = nullptr;   ///< (padded beads) motion of the step before; may be the `in` of the step
  double weight = 0;                    ///< of the change since then, see model/two_steps.h
  BeadRecord* out = nullptr;            ///< (padded beads), overlapping neither
  const float* remainder_in = nullptr;  ///< (2 * padded beads): x of all, then y of all; quanta
  float* remainder_out = nullptr;
  /// (3 * padded beads): x of all, y of all, spin of all; or null. Of sweeps that carry on: motions of the step before
  /// and of this one, where records hold what beads are expected to do next.
  const float* motion_in = nullptr;
  float* motion_out = nullptr;
  /// (padded beads) or null, of the same sweeps: what noise made of the motion in the step before, and in this one.
  const ThermalMotion* thermal_in = nullptr;
  ThermalMotion* thermal_out = nullptr;
  const std::uint32_t* built_x = nullptr;  ///< (padded beads) places when the list was built
  const std::uint32_t* built_y = nullptr;
  double time = 0;  ///< tau to move on
};

/// What a step finds out about the health of its beads.
struct StepHealth {
  float closest_squared = 1e30f;    ///< sigma^2, of all pairs in reach, before the move
  float largest_move_squared = 0;   ///< sigma^2
  float largest_drift_squared = 0;  ///< sigma^2, since the list was built, after the move
};

/// Memory of the friction solver. Vectors are (3 * padded beads): x of all, y of all, spin of all.
struct SolverMemory {
  const BeadRecord* judged = nullptr;  ///< (padded beads) places, and the motion that is judged
  const BeadRecord* before = nullptr;  ///< (padded beads) the motion judged before; may be `made`
  BeadRecord* made = nullptr;          ///< (padded beads) where the next motion goes; null where none is wanted
  float* random = nullptr;             ///< thermal forces and torques
  bool parted = false;                 ///< the motion judged has nothing in it of what noise makes
  float* known = nullptr;              ///< all forces and torques but friction
  float* terms = nullptr;              ///< (5 * padded beads): each bead's share of the sums of a pass
};

/// Reach of a list that is being built.
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
  int width;  ///< lanes: beads side by side
  /// A whole step of the lagged or the brownian dynamics, in one pass.
  StepHealth (*lagged)(const StepInput&, const MoveOutput&, std::int64_t first, std::int64_t last);
  StepHealth (*brownian)(const StepInput&, const MoveOutput&, std::int64_t first, std::int64_t last);

  /// Thermal forces at the places of `in`, into memory.random.
  void (*noise)(const StepInput&, const SolverMemory&, std::int64_t first, std::int64_t last);
  /// Judges the motion of memory.judged at its places, writes down what forces are known, and makes the next motion.
  /// Terms: those of FirstSweep; where no next motion is wanted, those of RelativeResidual() or ResidualBesideNoise().
  /// Of the health only the closest pair is filled.
  StepHealth (*begin)(const StepInput&, const SolverMemory&, std::int64_t first, std::int64_t last);
  /// Judges a motion and makes the next, see SolveBySweeps(). Terms: those of SweepSums.
  void (*sweep)(const StepInput&, const SolverMemory&, float omega, std::int64_t first, std::int64_t last);
  /// Moves the places of `in` by a motion.
  StepHealth (*move)(const StepInput&, const MoveOutput&, std::int64_t first, std::int64_t last);

  /// Lists the partners of beads. @return the largest count met; where that is over the capacity the list is not
  /// complete and must be built again with more.
  std::uint32_t (*list)(const ListInput&, const CellGrid&, std::int64_t first, std::int64_t last);
};

/// The widest code that this machine can run. Throws std::runtime_error where it has no fused multiply-add (x86-64-v3).
const StepCode& BestStepCode();
/// All codes that this machine can run, for tests: they give the same bits.
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
