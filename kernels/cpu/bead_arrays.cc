#include "cpu/bead_arrays.h"

#include <chrono>
#include <cmath>

#include "dynamics/course.h"
#include "model/fixed_point.h"

namespace gyrebox::kernels {
namespace {

std::int64_t RoundUp(std::int64_t n, std::int64_t to) { return (n + to - 1) / to * to; }

}  // namespace

std::int64_t CpuBytesOf(const RunSpec& spec) {
  // Records, remainders, built and start positions, paths, slots; list rows and counts; cells, snapshot, clusters; and
  // the solver's memory, for judging a motion and for solving.
  using Equation = DynamicsSpec::Equation;
  constexpr std::int64_t kRecord = sizeof(BeadRecord);
  constexpr std::int64_t kJudging = kRecord + 4 * (2 * 3 + 5), kSolving = kRecord;
  const std::int64_t solver = (spec.dynamics.equation == Equation::kBrownian ? 0 : kJudging) +
                              (spec.dynamics.equation == Equation::kConverged ? kSolving : 0);
  const std::int64_t carried = CarriesSweeps(spec) ? 2 * (3 * 4 + std::int64_t{sizeof(ThermalMotion)}) : 0;
  const std::int64_t per_bead = carried + 2 * kRecord + 16 + 8 + 8 + 16 + 4 + 4 * 16 + 4 + 120 + solver;
  return RoundUp(spec.n_beads, kPadding) * per_bead + (1 << 16);
}

BeadArrays::BeadArrays(const RunSpec& spec, const StepCode& code, const StartState& start)
    : code_(code),
      n_beads_(spec.n_beads),
      n_padded_(RoundUp(spec.n_beads, kPadding)),
      side_x_(spec.side_x),
      side_y_(spec.side_y),
      reach_(ListReach(spec)),
      now_(n_padded_),
      next_(n_padded_),
      remainder_now_(2 * n_padded_),
      remainder_next_(2 * n_padded_),
      built_x_(n_padded_ + kPadding),
      built_y_(n_padded_ + kPadding),
      path_x_(spec.n_beads),
      path_y_(spec.n_beads),
      slot_of_(spec.n_beads),
      // In a dilute bed cells hold one bead on average; otherwise their number could exceed the memory.
      grid_(spec.side_x, spec.side_y,
            std::max(reach_, std::sqrt(spec.side_x * spec.side_y / static_cast<double>(spec.n_beads)))) {
  for (std::int64_t id = 0; id < n_beads_; ++id) {
    now_[id] = {start.x[id],
                start.y[id],
                0,
                0,
                0,
                static_cast<std::uint32_t>(id),
                start.spinner[id] != 0 ? kSpinner : kPassive,
                start.angle[id]};
    slot_of_[id] = static_cast<std::uint32_t>(id);
  }
  if (CarriesSweeps(spec)) {
    motion_now_.resize(3 * n_padded_);
    motion_next_.resize(3 * n_padded_);
    thermal_now_.resize(n_padded_);
    thermal_next_.resize(n_padded_);
  }
  SetPositions(start.x, start.y);
}

void BeadArrays::SetPositions(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y) {
  for (std::int64_t id = 0; id < n_beads_; ++id) {
    const std::uint32_t slot = slot_of_[id];
    now_[slot].x = built_x_[slot] = x[id];
    now_[slot].y = built_y_[slot] = y[id];
    path_x_[slot] = x[id];
    path_y_[slot] = y[id];
  }
  lists_valid_ = false;
}

StepInput BeadArrays::Input() const {
  StepInput input;
  input.n_beads = n_beads_;
  input.n_padded = n_padded_;
  input.in = now_.data();
  input.list = {partners_.data(), counts_.data(), capacity_};
  input.side_x = side_x_;
  input.side_y = side_y_;
  return input;
}

MoveOutput BeadArrays::Output(const BeadRecord* motion, double time) {
  MoveOutput output;
  output.motion = motion;
  output.before = now_.data();
  output.out = next_.data();
  output.remainder_in = remainder_now_.data();
  output.remainder_out = remainder_next_.data();
  if (!motion_now_.empty()) {
    output.motion_in = motion_now_.data();
    output.motion_out = motion_next_.data();
    output.thermal_in = thermal_now_.data();
    output.thermal_out = thermal_next_.data();
  }
  output.built_x = built_x_.data();
  output.built_y = built_y_.data();
  output.time = time;
  return output;
}

MoveOutput BeadArrays::HalfwayOutput(const BeadRecord* motion, double time, std::vector<BeadRecord>& halfway) {
  remainder_halfway_.resize(2 * n_padded_);
  MoveOutput output = Output(motion, time);
  output.out = halfway.data();
  output.remainder_out = remainder_halfway_.data();
  return output;
}

void BeadArrays::Follow(bool lists_valid) {
  std::swap(now_, next_);
  std::swap(remainder_now_, remainder_next_);
  std::swap(motion_now_, motion_next_);
  std::swap(thermal_now_, thermal_next_);
  lists_valid_ = lists_valid;
}

void BeadArrays::PrepareLists() {
  if (lists_valid_) return;
  const auto begin = std::chrono::steady_clock::now();
  SortBeads();
  ListPartners();
  lists_valid_ = true;
  ++rebuilds_.count;
  rebuilds_.seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

std::int64_t BeadArrays::PathX(std::int64_t id) const {
  const std::uint32_t slot = slot_of_[id];
  return path_x_[slot] + AsSigned(now_[slot].x - built_x_[slot]);
}
std::int64_t BeadArrays::PathY(std::int64_t id) const {
  const std::uint32_t slot = slot_of_[id];
  return path_y_[slot] + AsSigned(now_[slot].y - built_y_[slot]);
}

// Sorts beads by cell, and by id within a cell.
void BeadArrays::SortBeads() {
  std::vector<std::uint32_t> x(n_beads_), y(n_beads_);
  std::vector<std::int64_t> path_x(n_beads_), path_y(n_beads_);
  for (std::int64_t id = 0; id < n_beads_; ++id) {
    x[id] = bead(id).x;
    y[id] = bead(id).y;
    path_x[id] = PathX(id);
    path_y[id] = PathY(id);
  }
  SortIntoCells(grid_, x, y, cells_);
  for (std::int64_t slot = 0; slot < n_beads_; ++slot) {
    const std::uint32_t id = cells_.order[slot];
    const std::uint32_t old = slot_of_[id];
    next_[slot] = now_[old];
    remainder_next_[slot] = remainder_now_[old];
    remainder_next_[n_padded_ + slot] = remainder_now_[n_padded_ + old];
    for (std::int64_t row = 0; !motion_now_.empty() && row < 3; ++row) {
      motion_next_[row * n_padded_ + slot] = motion_now_[row * n_padded_ + old];
    }
    if (!thermal_now_.empty()) thermal_next_[slot] = thermal_now_[old];
    built_x_[slot] = x[id];
    built_y_[slot] = y[id];
    path_x_[slot] = path_x[id];
    path_y_[slot] = path_y[id];
  }
  for (std::int64_t slot = 0; slot < n_beads_; ++slot) slot_of_[cells_.order[slot]] = static_cast<std::uint32_t>(slot);
  std::swap(now_, next_);
  std::swap(remainder_now_, remainder_next_);
  std::swap(motion_now_, motion_next_);
  std::swap(thermal_now_, thermal_next_);
}

void BeadArrays::ListPartners() {
  counts_.resize(n_padded_);
  for (;;) {
    partners_.resize(static_cast<std::size_t>(groups() * capacity_ * code_.width));
    const ListInput input{n_beads_, built_x_.data(),     built_y_.data(),  side_x_,        side_y_,
                          reach_,   cells_.start.data(), partners_.data(), counts_.data(), capacity_};
    ForGroups([&](std::int64_t first, std::int64_t last) { code_.list(input, grid_, first, last); });
    const std::int64_t most = *std::max_element(counts_.begin(), counts_.end());
    if (most <= capacity_) return;
    capacity_ = RoundUp(most, 8);
  }
}

void BeadArrays::Save(BedState& state) const {
  state.lists_valid = lists_valid_;
  const auto each = [&](auto& array, auto value_of) {
    array.resize(static_cast<std::size_t>(n_beads_));
    for (std::int64_t id = 0; id < n_beads_; ++id) array[id] = value_of(slot_of_[id]);
  };
  each(state.x, [&](std::uint32_t s) { return now_[s].x; });
  each(state.y, [&](std::uint32_t s) { return now_[s].y; });
  each(state.built_x, [&](std::uint32_t s) { return built_x_[s]; });
  each(state.built_y, [&](std::uint32_t s) { return built_y_[s]; });
  each(state.path_x, [&](std::uint32_t s) { return path_x_[s]; });
  each(state.path_y, [&](std::uint32_t s) { return path_y_[s]; });
  each(state.remainder_x, [&](std::uint32_t s) { return remainder_now_[s]; });
  each(state.remainder_y, [&](std::uint32_t s) { return remainder_now_[n_padded_ + s]; });
  each(state.vx, [&](std::uint32_t s) { return LastMotion(s).vx; });
  each(state.vy, [&](std::uint32_t s) { return LastMotion(s).vy; });
  each(state.spin, [&](std::uint32_t s) { return LastMotion(s).spin; });
  if (!motion_now_.empty()) {
    each(state.expected_vx, [&](std::uint32_t s) { return now_[s].vx; });
    each(state.expected_vy, [&](std::uint32_t s) { return now_[s].vy; });
    each(state.expected_spin, [&](std::uint32_t s) { return now_[s].spin; });
    each(state.thermal_vx, [&](std::uint32_t s) { return thermal_now_[s].vx; });
    each(state.thermal_vy, [&](std::uint32_t s) { return thermal_now_[s].vy; });
    each(state.thermal_spin, [&](std::uint32_t s) { return thermal_now_[s].spin; });
  }
  each(state.angle, [&](std::uint32_t s) { return now_[s].angle; });
  each(state.kind, [&](std::uint32_t s) { return static_cast<std::uint8_t>(now_[s].kind); });
}

void BeadArrays::Load(const BedState& state) {
  for (std::int64_t id = 0; id < n_beads_; ++id) {
    const std::uint32_t slot = slot_of_[id];
    // The lists are rebuilt at the positions of their last build, so beads are placed there first.
    now_[slot] = {state.built_x[id], state.built_y[id], state.vx[id],   state.vy[id],
                  state.spin[id],    now_[slot].id,     state.kind[id], state.angle[id]};
    built_x_[slot] = state.built_x[id];
    built_y_[slot] = state.built_y[id];
    path_x_[slot] = state.path_x[id];
    path_y_[slot] = state.path_y[id];
    remainder_now_[slot] = state.remainder_x[id];
    remainder_now_[n_padded_ + slot] = state.remainder_y[id];
    if (motion_now_.empty()) continue;
    motion_now_[slot] = state.vx[id];
    motion_now_[n_padded_ + slot] = state.vy[id];
    motion_now_[2 * n_padded_ + slot] = state.spin[id];
    thermal_now_[slot] = {};
    if (!state.thermal_vx.empty()) {
      thermal_now_[slot] = {state.thermal_vx[id], state.thermal_vy[id], state.thermal_spin[id]};
    }
    if (state.expected_vx.empty()) continue;
    now_[slot].vx = state.expected_vx[id];
    now_[slot].vy = state.expected_vy[id];
    now_[slot].spin = state.expected_spin[id];
  }
  lists_valid_ = false;
  PrepareLists();
  for (std::int64_t id = 0; id < n_beads_; ++id) {
    now_[slot_of_[id]].x = state.x[id];
    now_[slot_of_[id]].y = state.y[id];
  }
  lists_valid_ = state.lists_valid;
}

}  // namespace gyrebox::kernels
