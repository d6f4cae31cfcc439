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

  /// Begins to solve for the motion of `state`, from the motion it has. It stays as it is, and must do so until the
  /// end.
  void Start(const std::vector<BeadRecord>& state);
  /// Takes up to so many sweeps. @return whether the solve has ended.
  bool GoOn(const StepInput& input, const SolverAim& aim, int most_iterations, int most_sweeps);
  const SolverReport& report() const { return course_.report; }
  /// (padded beads) the state with the motion judged last, or the one made last, which is a sweep better.
  const BeadRecord* judged() const { return memory_.judged; }
  const BeadRecord* made() const { return memory_.made; }

  /// How far the motion that `state` has is from balancing all forces: RelativeResidual(), or ResidualBesideNoise().
  /// @param parted there is nothing in it of what noise makes: the forces are then those without noise.
  double Residual(const StepInput& input, const std::vector<BeadRecord>& state, bool parted);
  /// Closest pair, squared, met in the last Solve or Residual.
  float closest_squared() const { return closest_squared_; }

  // What GoOnSolving asks of a system.
  static constexpr double kRoundOff = kFloatRoundOff;
  FirstSweep Begin();
  SweepSums Sweep(double omega, bool judge);

 private:
  void MakeRoom();
  /// Sum of a vector of (padded beads), in an order that depends on nothing but its length.
  double Sum(int which) const;

  const BeadArrays& beads_;
  const StepInput* input_ = nullptr;
  SolveCourse course_;
  SolverMemory memory_;
  std::vector<BeadRecord> made_[2];  ///< the motions made, in turn
  std::vector<float> random_, known_, terms_;
  float closest_squared_ = 0;
};

}  // namespace gyrebox::kernels
