#include "cpu/friction_solver.h"

namespace gyrebox::kernels {

FrictionSolver::FrictionSolver(const BeadArrays& beads)
    : beads_(beads),
      direction_(beads.n_padded()),
      random_(3 * beads.n_padded()),
      residual_(3 * beads.n_padded()),
      preconditioned_(3 * beads.n_padded()),
      product_(3 * beads.n_padded()),
      block_(6 * beads.n_padded()),
      terms_(3 * beads.n_padded()) {
  memory_.direction = direction_.data();
  memory_.random = random_.data();
  memory_.residual = residual_.data();
  memory_.preconditioned = preconditioned_.data();
  memory_.product = product_.data();
  memory_.block = block_.data();
  memory_.terms = terms_.data();
}

void FrictionSolver::DrawNoise(const StepInput& input) {
  if (input.temperature > 0) {
    beads_.ForGroups([&](std::int64_t first, std::int64_t last) { beads_.code().noise(input, memory_, first, last); });
  } else {
    std::fill(random_.begin(), random_.end(), 0.0f);
  }
}

SolverReport FrictionSolver::Solve(const StepInput& input, std::vector<BeadRecord>& state, double tolerance,
                                   int most_iterations) {
  input_ = &input;
  memory_.state = state.data();
  return SolveByConjugateGradients(*this, tolerance, most_iterations);
}

double FrictionSolver::Residual(const StepInput& input, std::vector<BeadRecord>& state) {
  input_ = &input;
  memory_.state = state.data();
  double right = 0;
  const double residual = Begin(right).residual;
  return right > 0 ? std::sqrt(residual / right) : std::sqrt(residual);
}

SolverSums FrictionSolver::Begin(double& right) {
  closest_squared_ = beads_
                         .WorstOfGroups([&](std::int64_t first, std::int64_t last) {
                           return beads_.code().begin(*input_, memory_, first, last);
                         })
                         .closest_squared;
  right = Sum(2);
  return {Sum(0), Sum(1)};
}

void FrictionSolver::Turn(double beta) {
  beads_.ForGroups([&](std::int64_t first, std::int64_t last) {
    beads_.code().turn(*input_, memory_, static_cast<float>(beta), first, last);
  });
}

double FrictionSolver::Multiply() {
  beads_.ForGroups(
      [&](std::int64_t first, std::int64_t last) { beads_.code().multiply(*input_, memory_, first, last); });
  return Sum(0);
}

SolverSums FrictionSolver::Follow(double alpha) {
  beads_.ForGroups([&](std::int64_t first, std::int64_t last) {
    beads_.code().follow(*input_, memory_, static_cast<float>(alpha), first, last);
  });
  return {Sum(0), Sum(1)};
}

double FrictionSolver::Sum(int which) const {
  const float* terms = terms_.data() + which * beads_.n_padded();
  double lanes[kPadding] = {};
  // Padding beads come last and are left out.
  const std::int64_t whole = beads_.n_beads() / kPadding * kPadding;
  for (std::int64_t i = 0; i < whole; i += kPadding) {
    for (int lane = 0; lane < kPadding; ++lane) lanes[lane] += terms[i + lane];
  }
  double sum = 0;
  for (const double lane : lanes) sum += lane;
  for (std::int64_t i = whole; i < beads_.n_beads(); ++i) sum += terms[i];
  return sum;
}

}  // namespace gyrebox::kernels
