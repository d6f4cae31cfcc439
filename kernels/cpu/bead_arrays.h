/// Beads in memory order, in two copies, with their partner lists.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "cpu/for_groups.h"
#include "gyrebox/bed_state.h"
#include "gyrebox/ensemble.h"
#include "model/friction.h"
#include "model/two_steps.h"
#include "neighbors/cells.h"
#include "neighbors/reach.h"
#include "start/start.h"

namespace gyrebox::kernels {

/// Bytes of memory that a live run occupies on the CPU.
std::int64_t CpuBytesOf(const RunSpec& spec);

/// Beds of at least this many beads distribute each pass over threads; smaller ones take one thread each.
inline constexpr std::int64_t kTiledBeads = 8192;

/// A step reads `now` and writes `next`, so every bead reads its partners' old state, whatever the order of work.
class BeadArrays {
 public:
  BeadArrays(const RunSpec& spec, const StepCode& code, const StartState& start);

  const StepCode& code() const { return code_; }
  std::int64_t n_beads() const { return n_beads_; }
  std::int64_t n_padded() const { return n_padded_; }
  std::int64_t groups() const { return n_padded_ / code_.width; }
  std::vector<BeadRecord>& now() { return now_; }
  const std::vector<BeadRecord>& now() const { return now_; }
  const std::vector<BeadRecord>& next() const { return next_; }
  /// Motion of a bead in the step that led to `now`, and in the one that leads to `next`.
  Motion<float> LastMotion(std::int64_t slot) const { return MotionIn(now_, motion_now_, slot); }
  Motion<float> ComingMotion(std::int64_t slot) const { return MotionIn(next_, motion_next_, slot); }
  /// Thermal part of the last motion, if stored separately; else 0.
  ThermalMotion LastThermal(std::int64_t slot) const {
    return thermal_now_.empty() ? ThermalMotion() : thermal_now_[slot];
  }
  const BeadRecord& bead(std::int64_t id) const { return now_[slot_of_[id]]; }
  std::uint32_t slot_of(std::int64_t id) const { return slot_of_[id]; }

  /// Input of the passes: list and sizes. The caller fills in the laws.
  StepInput Input() const;
  /// Output of a move by `time` from `now` to `next`; or to `halfway`, with the remainders unchanged.
  MoveOutput Output(const BeadRecord* motion, double time);
  MoveOutput HalfwayOutput(const BeadRecord* motion, double time, std::vector<BeadRecord>& halfway);
  /// Makes `next` the current state.
  void Follow(bool lists_valid);

  /// Rebuilds the lists if they are no longer valid. The order of beads and lists depends on positions alone.
  void PrepareLists();
  const Ensemble::RebuildStats& rebuilds() const { return rebuilds_; }

  /// Path of a bead without the periodic wrap, in quanta of each axis.
  std::int64_t PathX(std::int64_t id) const;
  std::int64_t PathY(std::int64_t id) const;
  /// Calls visit(slot, partner slot) for every listed pair, each from both sides.
  template <class Visit>
  void ForListed(Visit visit) const {
    for (std::int64_t slot = 0; slot < n_beads_; ++slot) {
      const std::int64_t group = slot / code_.width, lane = slot % code_.width;
      for (std::uint32_t k = 0; k < counts_[slot]; ++k) {
        visit(static_cast<std::uint32_t>(slot), partners_[(group * capacity_ + k) * code_.width + lane]);
      }
    }
  }

  void Save(BedState& state) const;
  void Load(const BedState& state);
  /// For tests: sets the positions of the beads, by id.
  void SetPositions(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y);

  /// Runs work(first_group, last_group) over all groups, by all threads if the bed is large.
  template <class Work>
  void ForGroups(const Work& work) const {
    kernels::ForGroups(groups(), tiled(), work);
  }
  /// The same; returns the worst health of the parts.
  template <class Work>
  StepHealth WorstOfGroups(const Work& work) const {
    return kernels::WorstOfGroups(groups(), tiled(), work);
  }

 private:
  Motion<float> MotionIn(const std::vector<BeadRecord>& records, const std::vector<float>& motions,
                         std::int64_t slot) const {
    if (motions.empty()) return {records[slot].vx, records[slot].vy, records[slot].spin};
    return {motions[slot], motions[n_padded_ + slot], motions[2 * n_padded_ + slot]};
  }
  bool tiled() const { return n_beads_ >= kTiledBeads; }
  void SortBeads();
  void ListPartners();

  const StepCode& code_;
  std::int64_t n_beads_, n_padded_;
  double side_x_, side_y_, reach_;
  std::vector<BeadRecord> now_, next_;                     // (padded)
  std::vector<float> remainder_now_, remainder_next_;      // (2 * padded)
  std::vector<float> motion_now_, motion_next_;            // (3 * padded) if records hold expected motions, else empty
  std::vector<ThermalMotion> thermal_now_, thermal_next_;  // (padded) likewise
  std::vector<float> remainder_halfway_;                   // (2 * padded), discarded
  std::vector<std::uint32_t> built_x_, built_y_;           // (padded + kPadding) positions at the last list build
  std::vector<std::int64_t> path_x_, path_y_;              // (beads) path at that time, quanta
  std::vector<std::uint32_t> slot_of_;                     // (beads) id -> index in memory
  CellGrid grid_;
  CellOrder cells_;
  std::vector<std::uint32_t> partners_, counts_;
  std::int64_t capacity_ = 16;
  bool lists_valid_ = false;
  Ensemble::RebuildStats rebuilds_;
};

}  // namespace gyrebox::kernels
