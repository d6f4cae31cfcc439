#include <algorithm>

#include "cpu/bed.h"

namespace gyrebox::kernels {

StepInput Bed::Laws() const {
  const Settings& settings = course_.settings();
  StepInput input = beads_.Input();
  input.force = spec().force;
  input.friction = settings.friction;
  input.drag = spec().drag;
  input.temperature = settings.temperature;
  input.time_step = course_.substep_time();
  input.transverse_coupling = spec().dynamics.transverse_coupling;
  input.keys = KeysOfStep(spec().seeds.noise, course_.moment());
  input.rate_imposed = course_.rate_imposed();
  input.torque = common_torque_;
  input.torques = torques_.empty() ? nullptr : torques_.data();
  return input;
}

// Stores the imposed drive of the coming step where the passes read it: spins in the records, torques separately. In
// Brownian dynamics a torque is stored as a spin, and passive beads have none.
void Bed::ImposeDrive() {
  const double ahead = course_.drive_ahead();
  const double scale = course_.drive_scale();
  const bool as_spin = course_.rate_imposed() || course_.brownian();
  std::vector<BeadRecord>& now = beads_.now();
  if (drive_.uniform()) {
    const float value = static_cast<float>(scale * drive_.Common(ahead));
    common_torque_ = as_spin ? 0 : value;
    torques_.clear();
    if (as_spin) {
      for (const std::uint32_t id : spinners_) now[beads_.slot_of(id)].spin = value;
    }
    return;
  }
  drive_.Each(ahead, drive_values_);
  if (!as_spin) torques_.assign(beads_.n_padded(), 0);
  for (std::size_t i = 0; i < spinners_.size(); ++i) {
    const std::uint32_t slot = beads_.slot_of(spinners_[i]);
    (as_spin ? now[slot].spin : torques_[slot]) = static_cast<float>(scale * drive_values_[i]);
  }
}

std::optional<Bed::StepResult> Bed::Compute() {
  if (course_.converged()) return ComputeConverged();
  ImposeDrive();
  const StepInput input = Laws();
  const auto pass = course_.brownian() ? beads_.code().brownian : beads_.code().lagged;
  MoveOutput output = beads_.Output(beads_.now().data(), course_.substep_time());
  output.weight = course_.carried_weight();
  return StepResult{
      beads_.WorstOfGroups([&](std::int64_t first, std::int64_t last) { return pass(input, output, first, last); }),
      {}};
}

// With noise: a midpoint step. The random force is drawn once, at the start, and both solves use the same vector, which
// gives the correct drift kT div M of a position-dependent mobility (Fixman, J. Chem. Phys. 69, 1527 (1978)).
std::optional<Bed::StepResult> Bed::ComputeConverged() {
  const double tolerance = spec().dynamics.tolerance;
  if (!solving_) {
    spins_before_.clear();
    for (const std::uint32_t id : spinners_) spins_before_.push_back(beads_.now()[beads_.slot_of(id)].spin);
    ImposeDrive();
    solver_.DrawNoise(Laws());
    solver_.Start(beads_.now());
    solving_.emplace();
  }
  const StepInput input = Laws();
  const auto move = [&](const MoveOutput& output) {
    return beads_.WorstOfGroups(
        [&](std::int64_t first, std::int64_t last) { return beads_.code().move(input, output, first, last); });
  };
  const bool midpoint = course_.midpoint();
  if (!solving_->halfway) {
    if (!GoOnSolving(input, midpoint ? HalfwayAim(tolerance) : WholeAim(tolerance))) return std::nullopt;
    solving_->closest = solver_.closest_squared();
  }
  if (midpoint && !solving_->halfway) {
    solving_->first = solver_.report();
    solving_->halfway = true;
    other_motion_.resize(static_cast<std::size_t>(beads_.n_padded()));
    move(beads_.HalfwayOutput(solver_.made(), course_.substep_time() / 2, other_motion_));
    solver_.Start(other_motion_);
  }
  if (midpoint && !GoOnSolving(input, AimFromHalfway(tolerance))) return std::nullopt;
  StepResult result;
  result.solver = solver_.report();
  if (midpoint) {
    result.solver = solving_->first;
    result.solver += solver_.report();
  }
  MoveOutput output = beads_.Output(solver_.judged(), course_.substep_time());
  output.weight = course_.carried_weight();
  result.health = move(output);
  result.health.closest_squared = solving_->closest;
  solving_.reset();
  return result;
}

bool Bed::GoOnSolving(const StepInput& input, const SolverAim& aim) {
  const int before = solver_.report().iterations, most = spec().dynamics.max_iterations;
  const bool ended = solver_.GoOn(input, aim, most, static_cast<int>(std::min<std::int64_t>(sweeps_left_, most + 1)));
  // At least one, so that every chunk makes progress.
  sweeps_left_ = std::max<std::int64_t>(sweeps_left_ - (solver_.report().iterations - before), 1);
  return ended;
}

void Bed::RestoreSpins(std::vector<BeadRecord>& beads) const {
  for (std::size_t i = 0; i < spins_before_.size(); ++i) beads[beads_.slot_of(spinners_[i])].spin = spins_before_[i];
}

}  // namespace gyrebox::kernels
