#include "cpu/bed.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <numeric>
#include <stdexcept>
#include <utility>

#include "measure/blocks.h"
#include "model/fixed_point.h"

namespace gyrebox::kernels {
namespace {

double Squared(double a) { return a * a; }

std::vector<std::uint32_t> SpinnerIds(const StartState& start) {
  std::vector<std::uint32_t> ids;
  for (std::uint32_t id = 0; id < start.spinner.size(); ++id) {
    if (start.spinner[id] != 0) ids.push_back(id);
  }
  return ids;
}

}  // namespace

Bed::Bed(const RunSpec& spec, const StepCode& code) : Bed(spec, code, GenerateInitialState(spec)) {}

Bed::Bed(const RunSpec& spec, const StepCode& code, StartState start)
    : course_(spec),
      beads_(spec, code, start),
      solver_(beads_),
      spinners_(SpinnerIds(start)),
      drive_(spec.seeds.disorder, spinners_),
      drive_values_(spinners_.size()),
      observables_(course_.spec()) {
  drive_.Configure(spec.drive.wave, spec.drive.disorder);
  if (!start.failure.empty()) course_.FailToStart(start.failure);
  start_x_ = std::move(start.x);
  start_y_ = std::move(start.y);
}

RunChunk Bed::Advance(std::int64_t steps, std::int64_t max_sweeps) {
  RunChunk chunk;
  max_sweeps_ = max_sweeps;
  for (std::int64_t taken = 0; course_.running() && (taken < steps || course_.at_end()); ++taken) {
    if (!TakeStep(chunk)) break;
  }
  course_.Close(chunk);
  return chunk;
}

// One step of the run: 2^halvings substeps. False if the chunk ends: the run has ended or rolled back, or a converged
// step continues in the next chunk.
bool Bed::TakeStep(RunChunk& chunk) {
  sweeps_left_ = max_sweeps_;
  if (course_.at_keep() && !course_.has_kept_now()) course_.Keep(Save(), chunk);
  if (course_.controls().MoveTo(course_.step())) drive_.Configure(course_.settings().wave, course_.settings().disorder);
  for (const std::int64_t step = course_.step(); course_.step() == step; course_.Pass()) {
    beads_.PrepareLists();
    // At the last step the motion is computed once more for the closing sample, without moving the beads.
    const bool closing = course_.at_end();
    std::vector<BeadRecord> before = closing ? beads_.now() : std::vector<BeadRecord>();
    if (closing && solving_) RestoreSpins(before);
    const std::optional<StepResult> computed = Compute();
    if (!computed) return false;
    const StepResult& result = *computed;
    if (!Sound(result)) {
      if (course_.lagged()) residual_ = LaggedResidual();
      course_.Warning(residual_, course_.time(), chunk);
      Retry(chunk);
      return false;
    }
    if (course_.at_sample()) {
      course_.Hold(TakeSample(result));
      course_.Warning(residual_, course_.time(), chunk);
    }
    if (closing) {
      beads_.now() = before;
      course_.Finish();
      return false;
    }
    const double half_skin = course_.half_skin();
    beads_.Follow(result.health.largest_drift_squared <= half_skin * half_skin);
    drive_.Advance(course_.substep_time());
  }
  if (spec().retry.max_halvings == 0) course_.Release(chunk);
  return true;
}

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

// Restarts an unfinished step if the adjustment applies to it.
std::int64_t Bed::Adjust(const Adjustment& adjustment) {
  if (solving_ && adjustment.step <= course_.step()) {
    RestoreSpins(beads_.now());
    solving_.reset();
  }
  return course_.Adjust(adjustment);
}

// Checks a step before the beads move; sets the fault if it fails.
bool Bed::Sound(const StepResult& result) {
  const HealthSpec& limits = spec().health;
  if (result.health.closest_squared < limits.closest_pair * limits.closest_pair) {
    FailClosestPair();
  } else if (!(result.health.largest_move_squared <= Squared(course_.largest_move()))) {
    FailLargestMove(result.health);
  } else if (course_.converged() && !result.solver.converged) {
    course_.FailNotConverged(result.solver.relative_residual);
  }
  return !course_.fault();
}

Sample Bed::TakeSample(const StepResult& result) {
  Snapshot& snapshot = snapshot_;
  TakeSnapshot(snapshot);
  const bool alone = result.health.closest_squared > 1e29f;
  snapshot.closest_pair =
      alone ? std::numeric_limits<double>::quiet_NaN() : std::sqrt(static_cast<double>(result.health.closest_squared));
  snapshot.largest_move = std::sqrt(static_cast<double>(result.health.largest_move_squared));
  residual_ = course_.converged() ? result.solver.relative_residual : (course_.brownian() ? 0 : LaggedResidual());
  snapshot.friction_residual = residual_;
  return {course_.step(), course_.time(), observables_.Measure(snapshot, course_.at_whole_sample())};
}

double Bed::LaggedResidual() {
  // Current positions with the motion of the step just computed.
  std::vector<BeadRecord>& judged = other_motion_;
  judged.resize(beads_.now().size());
  beads_.ForGroups([&](std::int64_t first, std::int64_t last) {
    for (std::int64_t slot = first * beads_.code().width; slot < last * beads_.code().width; ++slot) {
      judged[slot] = beads_.now()[slot];
      if (slot >= beads_.n_beads()) continue;
      const Motion<float> motion = beads_.ComingMotion(slot);
      judged[slot].vx = motion.vx;
      judged[slot].vy = motion.vy;
      judged[slot].spin = motion.spin;
    }
  });
  const StepInput input = Laws();
  solver_.DrawNoise(input);
  return solver_.Residual(input, judged, CarriesSweeps(spec()));
}

void Bed::TakeSnapshot(Snapshot& out) const {
  const auto n = static_cast<std::size_t>(beads_.n_beads());
  out.side_x = spec().side_x;
  out.side_y = spec().side_y;
  out.time = course_.time();
  out.temperature = course_.settings().temperature;
  out.friction = course_.settings().friction;
  out.x.resize(n), out.y.resize(n), out.path_x.resize(n), out.path_y.resize(n);
  out.vx.resize(n), out.vy.resize(n), out.spin.resize(n), out.spinner.resize(n);
  if (!course_.rate_imposed()) out.torque.resize(n);
  const auto lost = SumsOfBlocks(static_cast<std::uint32_t>(n), [&](std::uint32_t first, std::uint32_t last) {
    std::int64_t lost_beads = 0;
    for (std::uint32_t id = first; id < last; ++id) {
      const BeadRecord& position = beads_.bead(id);
      const Motion<float> motion = beads_.ComingMotion(beads_.slot_of(id));
      out.x[id] = position.x;
      out.y[id] = position.y;
      out.path_x[id] = beads_.PathX(id) - start_x_[id];
      out.path_y[id] = beads_.PathY(id) - start_y_[id];
      out.vx[id] = motion.vx;
      out.vy[id] = motion.vy;
      out.spin[id] = motion.spin;
      out.spinner[id] = static_cast<std::uint8_t>(position.kind);
      if (position.id != id) ++lost_beads;
      if (!course_.rate_imposed()) out.torque[id] = TorqueOn(id);
    }
    return lost_beads;
  });
  out.lost_beads = std::accumulate(lost.begin(), lost.end(), std::int64_t{0});
}

// Imposed in the step just computed.
float Bed::TorqueOn(std::int64_t bead) const {
  const std::uint32_t slot = beads_.slot_of(bead);
  if (beads_.now()[slot].kind != kSpinner) return 0;
  if (course_.brownian()) return beads_.ComingMotion(slot).spin * static_cast<float>(spec().drag.rotational);
  return torques_.empty() ? common_torque_ : torques_[slot];
}

std::vector<double> Bed::PositionOf(std::int64_t id) const {
  const BeadRecord& bead = beads_.bead(id);
  return {FromFixed(bead.x, spec().side_x), FromFixed(bead.y, spec().side_y)};
}

double Bed::Distance(const BeadRecord& a, const BeadRecord& b) const {
  return std::hypot(Difference(a.x, b.x, spec().side_x * 0x1p-32), Difference(a.y, b.y, spec().side_y * 0x1p-32));
}

void Bed::FailClosestPair() {
  double closest = std::numeric_limits<double>::infinity();
  std::vector<std::int64_t> ids;
  beads_.ForListed([&](std::uint32_t slot, std::uint32_t other) {
    const BeadRecord &a = beads_.now()[slot], &b = beads_.now()[other];
    const double r = Distance(a, b);
    const auto pair = std::minmax(a.id, b.id);
    if (r > closest || (r == closest && pair.first >= ids[0])) return;
    closest = r;
    ids = {pair.first, pair.second};
  });
  course_.FailClosestPair(ids, PositionOf(ids[0]), closest);
}

void Bed::FailLargestMove(const StepHealth& health) {
  double largest = -1;
  std::int64_t worst = 0;
  for (std::int64_t id = 0; id < beads_.n_beads(); ++id) {
    const std::uint32_t slot = beads_.slot_of(id);
    const Motion<float> next = beads_.ComingMotion(slot);
    double move = std::hypot(next.vx, next.vy);
    if (!std::isfinite(move)) move = std::numeric_limits<double>::infinity();
    if (move <= largest) continue;
    largest = move;
    worst = id;
  }
  const bool is_number = std::isfinite(largest) && health.largest_move_squared < 1e29f;
  course_.FailLargestMove(worst, PositionOf(worst), std::sqrt(health.largest_move_squared), is_number);
}

// Handles a fault: rolls back to the kept state and halves the step, or ends the run.
void Bed::Retry(RunChunk& chunk) {
  const BedState* kept = course_.Retry(chunk);
  if (kept == nullptr) return;
  Load(*kept);
  course_.GoOnHalved();
}

BedState Bed::Save() const {
  BedState state;
  state.step = course_.step();
  state.halvings = course_.halvings();
  state.has_past = course_.has_past();
  beads_.Save(state);
  for (std::size_t i = 0; solving_ && i < spins_before_.size(); ++i) state.spin[spinners_[i]] = spins_before_[i];
  PutDrive(drive_.state(), state);
  return state;
}

BedState Bed::Checkpoint() const { return course_.kept() != nullptr ? *course_.kept() : Save(); }

void Bed::Load(const BedState& state) {
  course_.Check(state);
  solving_.reset();
  beads_.Load(state);
  drive_.set_state(DriveOf(state));
  course_.GoTo(state);
  drive_.Configure(course_.settings().wave, course_.settings().disorder);
}

std::vector<Bead> Bed::Beads() const {
  std::vector<Bead> beads(static_cast<std::size_t>(beads_.n_beads()));
  for (std::int64_t id = 0; id < beads_.n_beads(); ++id) {
    const BeadRecord& record = beads_.bead(id);
    Bead& bead = beads[static_cast<std::size_t>(id)];
    bead.x = FromFixed(record.x, spec().side_x);
    bead.y = FromFixed(record.y, spec().side_y);
    bead.unwrapped_x = static_cast<double>(beads_.PathX(id)) * spec().side_x * 0x1p-32;
    bead.unwrapped_y = static_cast<double>(beads_.PathY(id)) * spec().side_y * 0x1p-32;
    const Motion<float> motion = beads_.LastMotion(beads_.slot_of(id));
    const ThermalMotion thermal = beads_.LastThermal(beads_.slot_of(id));
    bead.vx = motion.vx + thermal.vx;
    bead.vy = motion.vy + thermal.vy;
    bead.spin = motion.spin + thermal.spin;
    bead.angle = AngleValue(record.angle);
    bead.spinner = record.kind == kSpinner;
  }
  return beads;
}

std::vector<std::uint32_t> Bed::PartnersWithin(std::uint32_t id, double distance) const {
  std::vector<std::uint32_t> out;
  beads_.ForListed([&](std::uint32_t slot, std::uint32_t other) {
    const BeadRecord &a = beads_.now()[slot], &b = beads_.now()[other];
    if (a.id == id && Distance(a, b) < distance) out.push_back(b.id);
  });
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace gyrebox::kernels
