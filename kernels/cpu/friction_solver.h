/// The friction system of a bed on the CPU: passes of a step code, and their sums in a fixed order.
#pragma once

#include <vector>

#include "cpu/bead_arrays.h"
#include "dynamics/conjugate_gradients.h"

namespace gyrebox::kernels {

/// Keeps its vectors from step to step, and makes them where they are first needed: a bed that is never solved has
/// none. Places must not change between Begin and the last Follow.
class FrictionSolver {
 public:
  explicit FrictionSolver(const BeadArrays& beads);

  /// Draws the thermal forces at the places of input.in; without noise they are 0. Comes before Solve and Residual.
  void DrawNoise(const StepInput& input);

  /// Solves for the motion of `state`, from the motion it has.
  SolverReport Solve(const StepInput& input, std::vector<BeadRecord>& state, double tolerance, int most_iterations);
  /// |b - A V| / |b| of the motion that `state` has.
  double Residual(const StepInput& input, std::vector<BeadRecord>& state);
  /// Closest pair, squared, met in the last Solve or Residual.
  float closest_squared() const { return closest_squared_; }

  // What SolveByConjugateGradients asks of a system.
  SolverSums Begin(double& right);
  void Turn(double beta);
  double Multiply();
  SolverSums Follow(double alpha);

 private:
  void MakeRoomToJudge();
  void MakeRoomToSolve();
  /// Sum of a vector of (padded beads), in an order that depends on nothing but its length.
  double Sum(int which) const;

  const BeadArrays& beads_;
  const StepInput* input_ = nullptr;
  SolverMemory memory_;
  std::vector<BeadRecord> direction_;
  std::vector<float> random_, residual_, preconditioned_, product_, block_, terms_;
  float closest_squared_ = 0;
};

}  // namespace gyrebox::kernels
