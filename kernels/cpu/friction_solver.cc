#include "cpu/friction_solver.h"

namespace gyrebox::kernels {

FrictionSolver::FrictionSolver(const BeadArrays& beads) : beads_(beads) {}

void FrictionSolver::MakeRoom() {
  if (!terms_.empty()) return;
  const std::int64_t n = beads_.n_padded();
  const auto make = [](std::vector<float>& vector, std::int64_t size) {
    vector.resize(static_cast<std::size_t>(size));
    return vector.data();
  };
  memory_.random = make(random_, 3 * n);
  memory_.known = make(known_, 3 * n);
  memory_.terms = make(terms_, 5 * n);
}

void FrictionSolver::DrawNoise(const StepInput& input) {
  MakeRoom();
  if (input.temperature > 0) {
    beads_.ForGroups([&](std::int64_t first, std::int64_t last) { beads_.code().noise(input, memory_, first, last); });
  } else {
    std::fill(random_.begin(), random_.end(), 0.0f);
  }
}

void FrictionSolver::Start(const std::vector<BeadRecord>& state) {
  MakeRoom();
  course_ = {};
  for (std::vector<BeadRecord>& made : made_) made.resize(state.size());
  memory_.judged = state.data();
  memory_.made = made_[0].data();
}

bool FrictionSolver::GoOn(const StepInput& input, const SolverAim& aim, int max_iterations, int max_sweeps) {
  input_ = &input;
  return GoOnSolving(*this, static_cast<double>(beads_.n_beads()), aim, max_iterations, max_sweeps, course_);
}

double FrictionSolver::Residual(const StepInput& input, const std::vector<BeadRecord>& state, bool parted) {
  memory_.parted = parted;
  input_ = &input;
  memory_.judged = state.data();
  memory_.made = nullptr;
  Begin();
  const bool noisy = input.temperature > 0;
  if (noisy && !parted) return ResidualBesideNoise(Sum(0), Sum(1), Sum(2));
  return RelativeResidual(Sum(0), noisy ? Sum(1) : Sum(2));
}

FirstSweep FrictionSolver::Begin() {
  closest_squared_ = beads_
                         .WorstOfGroups([&](std::int64_t first, std::int64_t last) {
                           return beads_.code().begin(*input_, memory_, first, last);
                         })
                         .closest_squared;
  return {{Sum(0), Sum(1)}, Sum(2), Sum(3), Sum(4)};
}

SweepSums FrictionSolver::Sweep(double omega, bool judge) {
  memory_.before = memory_.judged;
  memory_.judged = memory_.made;
  memory_.made = made_[memory_.judged == made_[0].data() ? 1 : 0].data();
  beads_.ForGroups([&](std::int64_t first, std::int64_t last) {
    beads_.code().sweep(*input_, memory_, static_cast<float>(omega), first, last);
  });
  return judge ? SweepSums{Sum(0), Sum(1)} : SweepSums{};
}

double FrictionSolver::Sum(int which) const {
  const float* terms = terms_.data() + which * beads_.n_padded();
  double lanes[kPadding] = {};
  // Excludes padding beads, which come last.
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
