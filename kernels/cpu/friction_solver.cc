#include "cpu/friction_solver.h"

namespace gyrebox::kernels {

FrictionSolver::FrictionSolver(const BeadArrays& beads) : beads_(beads) {}

void FrictionSolver::MakeRoomToJudge() {
  if (!terms_.empty()) return;
  const std::int64_t n = beads_.n_padded();
  const auto make = [](std::vector<float>& vector, std::int64_t size) {
    vector.resize(static_cast<std::size_t>(size));
    return vector.data();
  };
  memory_.random = make(random_, 3 * n);
  memory_.residual = make(residual_, 3 * n);
  memory_.preconditioned = make(preconditioned_, 3 * n);
  memory_.block = make(block_, 6 * n);
  memory_.terms = make(terms_, 3 * n);
}

void FrictionSolver::MakeRoomToSolve() {
  if (!direction_.empty()) return;
  direction_.resize(static_cast<std::size_t>(beads_.n_padded()));
  product_.resize(static_cast<std::size_t>(3 * beads_.n_padded()));
  memory_.direction = direction_.data();
  memory_.product = product_.data();
}

void FrictionSolver::DrawNoise(const StepInput& input) {
  MakeRoomToJudge();
  if (input.temperature > 0) {
    beads_.ForGroups([&](std::int64_t first, std::int64_t last) { beads_.code().noise(input, memory_, first, last); });
  } else {
    std::fill(random_.begin(), random_.end(), 0.0f);
  }
}

SolverReport FrictionSolver::Solve(const StepInput& input, std::vector<BeadRecord>& state, double tolerance,
                                   int most_iterations) {
  MakeRoomToSolve();
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
