/// A bed in the memory layout of the CUDA backend, run on the host by a team of one thread.
#pragma once

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "cuda/columns.h"
#include "cuda/measure.h"
#include "cuda/rebuild.h"
#include "cuda/serial_team.h"
#include "measure/snapshot.h"
#include "snapshots.h"

namespace gyrebox {

/// Builds lists for beads at the positions of a snapshot, lets each bead drift by up to half the skin of the lists, and
/// gives it a motion and a path. The bed can then be measured by both backends.
template <class Index>
class DeviceBed {
 public:
  static constexpr double kHalfSkin = 0.2;  // sigma

  DeviceBed(const kernels::RunSpec& spec, const kernels::Snapshot& start, double drift, std::uint32_t seed)
      : spec_(spec), snapshot_(start), random_(seed) {
    SetPlan();
    SetBeads();
    kernels::cuda::BedView<Index> bed(plan_);
    kernels::cuda::SerialTeam team;
    kernels::cuda::SortBeads(team, bed);
    max_partners_ = kernels::cuda::ListPartners(team, bed);
    half_ = bed.half;
    Drift(bed, drift);
    Move(bed);
  }
  DeviceBed(const DeviceBed&) = delete;
  DeviceBed& operator=(const DeviceBed&) = delete;

  /// Sums measured by the device code.
  kernels::cuda::MeasuredSums Sums(bool whole) {
    kernels::cuda::BedView<Index> bed(plan_);
    bed.half = half_;
    kernels::cuda::SerialTeam team;
    std::vector<double> scratch(kernels::cuda::MeasureBytes(plan_.stride, plan_.n_spinners) / sizeof(double) + 1,
                                std::nan(""));
    plan_.memory.measure = scratch.data();
    kernels::cuda::MeasureMemory memory = kernels::cuda::MeasureMemoryIn(bed);
    kernels::cuda::MeasureBlock block;
    memory.block = &block;
    kernels::cuda::MeasuredSums sums;
    sums.lost = 77;  // must not matter
    kernels::cuda::MeasureBed(team, bed, numbers_, nullptr, whole, memory, sums);
    return sums;
  }

  /// Columns derived from these sums.
  std::vector<double> Columns(bool whole) {
    kernels::cuda::Probe probe;
    probe.closest_squared = snapshot_.closest_pair * snapshot_.closest_pair;
    probe.largest_move_squared = snapshot_.largest_move * snapshot_.largest_move;
    probe.residual = snapshot_.friction_residual;
    return kernels::cuda::ColumnsOf(Sums(whole), probe, spec_, snapshot_.temperature, whole);
  }

  /// The same bed for the CPU observables.
  const kernels::Snapshot& snapshot() const { return snapshot_; }
  std::uint32_t max_partners() const { return max_partners_; }
  std::uint32_t capacity() const { return plan_.capacity; }
  std::vector<std::uint32_t>& tags() { return tag_; }

 private:
  void SetPlan() {
    const std::uint32_t n = plan_.n = static_cast<std::uint32_t>(spec_.n_beads);
    plan_.stride = (n + 31) / 32 * 32;
    plan_.n_spinners = static_cast<std::uint32_t>(spec_.n_spinners);
    plan_.capacity = std::min(n, 250u);
    const double reach =
        std::max({spec_.force.cutoff, spec_.friction.cutoff, spec_.measure.bond_length}) + 2 * kHalfSkin;
    plan_.grid = kernels::CellGrid(spec_.side_x, spec_.side_y, reach);
    plan_.side_x = spec_.side_x;
    plan_.side_y = spec_.side_y;
    plan_.laws.axis_x = kernels::FixedAxis<float>(spec_.side_x);
    plan_.laws.axis_y = kernels::FixedAxis<float>(spec_.side_y);
    plan_.laws.friction = kernels::PairFriction<float>(spec_.friction);
    plan_.dynamics = spec_.dynamics;
    plan_.rate_imposed = spec_.drive.quantity == kernels::DriveSpec::Quantity::kRate;
    plan_.reach_squared = static_cast<float>(reach * reach);
    plan_.half_skin_squared = static_cast<float>(kHalfSkin * kHalfSkin);
    plan_.force = spec_.force;
    plan_.drag = spec_.drag;
    plan_.bond_length = spec_.measure.bond_length;
    numbers_.tangential = static_cast<float>(spec_.friction.tangential);
    numbers_.normal = static_cast<float>(spec_.friction.normal);
    numbers_.drive = 3.25f;

    const std::size_t stride = plan_.stride, cells = static_cast<std::size_t>(plan_.grid.count());
    Give(beads_, 2 * stride, plan_.memory.beads);
    Give(spin_, 2 * stride, plan_.memory.spin);
    Give(angle_, 2 * stride, plan_.memory.angle);
    Give(remainder_, 2 * stride, plan_.memory.remainder);
    Give(tag_, stride, plan_.memory.tag);
    Give(built_, stride, plan_.memory.built);
    Give(start_, stride, plan_.memory.start);
    Give(turns_, stride, plan_.memory.turns);
    Give(counts_, stride, plan_.memory.counts);
    Give(cell_start_, cells + 1, plan_.memory.cell_start);
    Give(cell_fill_, cells, plan_.memory.cell_fill);
    list_.resize(stride * std::max<std::size_t>((plan_.capacity + kernels::cuda::kFour) * sizeof(Index), 32) / 8 + 1);
    plan_.memory.list = list_.data();
  }
  template <class T>
  static void Give(std::vector<T>& memory, std::size_t n, T*& at) {
    memory.resize(n);
    at = memory.data();
  }

  void SetBeads() {
    for (std::uint32_t id = 0; id < plan_.n; ++id) {
      const std::uint32_t x = snapshot_.x[id], y = snapshot_.y[id];
      beads_[id] = {x, y, 0, 0};
      tag_[id] = id | (snapshot_.spinner[id] != 0 ? kernels::cuda::kSpinnerBit : 0);
      built_[id] = {x, y};
      start_[id] = {static_cast<std::uint32_t>(random_()), static_cast<std::uint32_t>(random_())};
      turns_[id] = {static_cast<std::int16_t>(random_() % 7 - 3), static_cast<std::int16_t>(random_() % 5 - 2)};
      snapshot_.path_x[id] = turns_[id].x * (std::int64_t{1} << 32) + x - start_[id].x;
      snapshot_.path_y[id] = turns_[id].y * (std::int64_t{1} << 32) + y - start_[id].y;
    }
  }

  void Drift(kernels::cuda::BedView<Index>& bed, double drift) {
    std::uniform_real_distribution<double> way(-drift / std::sqrt(2.0), drift / std::sqrt(2.0));
    for (std::uint32_t slot = 0; slot < plan_.n; ++slot) {
      const std::uint32_t id = kernels::cuda::IdOf(tag_[slot]);
      const auto x = static_cast<std::int32_t>(way(random_) / plan_.side_x * 0x1p32);
      const auto y = static_cast<std::int32_t>(way(random_) / plan_.side_y * 0x1p32);
      kernels::cuda::PositionVelocity& bead = bed.Now(bed.beads)[slot];
      snapshot_.x[id] = bead.x += static_cast<std::uint32_t>(x);
      snapshot_.y[id] = bead.y += static_cast<std::uint32_t>(y);
      snapshot_.path_x[id] += x;
      snapshot_.path_y[id] += y;
    }
  }

  void Move(kernels::cuda::BedView<Index>& bed) {
    const bool brownian = spec_.dynamics.equation == kernels::DynamicsSpec::Equation::kBrownian;
    std::normal_distribution<float> motion;
    snapshot_.torque.assign(plan_.rate_imposed ? 0 : plan_.n, 0);
    for (std::uint32_t slot = 0; slot < plan_.n; ++slot) {
      const std::uint32_t id = kernels::cuda::IdOf(tag_[slot]);
      kernels::cuda::PositionVelocity& bead = bed.Next(bed.beads)[slot];
      snapshot_.vx[id] = bead.vx = motion(random_);
      snapshot_.vy[id] = bead.vy = motion(random_);
      snapshot_.spin[id] = bed.Next(bed.spin)[slot] = 10 * motion(random_);
      if (plan_.rate_imposed || snapshot_.spinner[id] == 0) continue;
      snapshot_.torque[id] = brownian ? snapshot_.spin[id] * static_cast<float>(spec_.drag.rotational) : numbers_.drive;
    }
    snapshot_.temperature = 0.5;
    snapshot_.friction = spec_.friction;
    snapshot_.closest_pair = 0.75;
    snapshot_.largest_move = 0.125;
    snapshot_.friction_residual = 0.375;
  }

  kernels::RunSpec spec_;
  kernels::Snapshot snapshot_;
  std::mt19937 random_;
  kernels::cuda::BedPlan plan_;
  kernels::cuda::StepNumbers numbers_;
  std::uint32_t half_ = 0, max_partners_ = 0;
  std::vector<kernels::cuda::PositionVelocity> beads_;
  std::vector<float> spin_;
  std::vector<std::uint32_t> angle_, tag_, cell_start_, cell_fill_;
  std::vector<kernels::cuda::Remainder> remainder_;
  std::vector<kernels::cuda::Pair32> built_, start_;
  std::vector<kernels::cuda::ImageCounts> turns_;
  std::vector<std::uint16_t> counts_;
  std::vector<std::uint64_t> list_;
};

}  // namespace gyrebox
