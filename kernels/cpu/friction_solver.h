/// The friction system of a bed on the CPU: passes of a step code, and their sums in a fixed order.
#pragma once

#include <vector>

#include "cpu/bead_arrays.h"
#include "dynamics/sweeps.h"

namespace gyrebox::kernels {

/// Keeps its vectors from step to step, and makes them where they are first needed: a bed that is never solved has
/// none. Places must not change between Begin and the last Sweep.
class FrictionSolver {
 public:
  explicit FrictionSolver(const BeadArrays& beads);

  /// Draws the thermal forces at the places of input.in; without noise they are 0. Comes before Solve and Residual.
  void DrawNoise(const StepInput& input);

  /// Solves for the motion of `state`, from the motion it has. @param take_made leaves there the motion made last,
  /// which is not judged any more, rather than the one judged last.
  SolverReport Solve(const StepInput& input, std::vector<BeadRecord>& state, const SolverAim& aim, int most_iterations,
                     bool take_made = false);
  /// |b - A V| / |b| of the motion that `state` has.
  double Residual(const StepInput& input, const std::vector<BeadRecord>& state);
  /// Closest pair, squared, met in the last Solve or Residual.
  float closest_squared() const { return closest_squared_; }

  // What SolveBySweeps asks of a system.
  static constexpr double kRoundOff = kFloatRoundOff;
  FirstSweep Begin();
  SweepSums Sweep(double omega, bool judge);

 private:
  void MakeRoom();
  /// Sum of a vector of (padded beads), in an order that depends on nothing but its length.
  double Sum(int which) const;

  const BeadArrays& beads_;
  const StepInput* input_ = nullptr;
  BeadRecord* state_ = nullptr;  ///< of the solve under way
  SolverMemory memory_;
  std::vector<BeadRecord> other_;  ///< the motions judged and made change places between this and the caller's
  std::vector<float> random_, known_, terms_;
  float closest_squared_ = 0;
};

}  // namespace gyrebox::kernels
