/// The friction system of a bed on the CPU: passes of a step code, and their sums in a fixed order.
#pragma once

#include <vector>

#include "cpu/bead_arrays.h"
#include "dynamics/sweeps.h"

namespace gyrebox::kernels {

/// Keeps its vectors between steps and allocates them on first use: a bed that is never solved has none. Positions must
/// not change between Begin and the last Sweep.
class FrictionSolver {
 public:
  explicit FrictionSolver(const BeadArrays& beads);

  /// Draws the thermal forces at the positions of input.in; 0 without noise. To be called before Start and Residual.
  void DrawNoise(const StepInput& input);

  /// Starts solving for the motion of `state`, from the motion it holds. `state` is not modified, and must not change
  /// until the solve has ended.
  void Start(const std::vector<BeadRecord>& state);
  /// Takes up to max_sweeps sweeps. @return whether the solve has ended.
  bool GoOn(const StepInput& input, const SolverAim& aim, int max_iterations, int max_sweeps);
  const SolverReport& report() const { return course_.report; }
  /// (padded beads) the state with the motion judged last, or with the latest motion, which is one sweep better.
  const BeadRecord* judged() const { return memory_.judged; }
  const BeadRecord* made() const { return memory_.made; }

  /// Residual of the force balance for the motion of `state`: RelativeResidual(), or ResidualBesideNoise().
  /// @param parted the motion has no thermal part; the forces are then those without noise.
  double Residual(const StepInput& input, const std::vector<BeadRecord>& state, bool parted);
  /// Squared distance, sigma^2, of the closest pair met in the last solve or Residual.
  float closest_squared() const { return closest_squared_; }

  // The interface that GoOnSolving needs of a system.
  static constexpr double kRoundOff = kFloatRoundOff;
  FirstSweep Begin();
  SweepSums Sweep(double omega, bool judge);

 private:
  void MakeRoom();
  /// Sum of a vector of (padded beads), in an order that depends on its length alone.
  double Sum(int which) const;

  const BeadArrays& beads_;
  const StepInput* input_ = nullptr;
  SolveCourse course_;
  SolverMemory memory_;
  std::vector<BeadRecord> made_[2];  ///< computed motions, alternating
  std::vector<float> random_, known_, terms_;
  float closest_squared_ = 0;
};

}  // namespace gyrebox::kernels
