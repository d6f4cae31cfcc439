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

/// Bytes of memory that a run needs on the CPU while it runs.
std::int64_t CpuBytesOf(const RunSpec& spec);

/// Beds of at least this many beads share the work of one pass between threads; smaller ones take a thread each.
inline constexpr std::int64_t kTiledBeads = 8192;

/// A step reads `now` and writes `next`, so every bead sees its partners as they were, whatever the order of work.
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
  /// What noise made of the former, where it is not in it.
  ThermalMotion LastThermal(std::int64_t slot) const {
    return thermal_now_.empty() ? ThermalMotion() : thermal_now_[slot];
  }
  const BeadRecord& bead(std::int64_t id) const { return now_[slot_of_[id]]; }
  std::uint32_t slot_of(std::int64_t id) const { return slot_of_[id]; }

  /// What passes read: list and sizes; the laws are the caller's to fill in.
  StepInput Input() const;
  /// Where a move by `time` from now to next goes. @param half true: to `halfway`, remainders left as they are.
  MoveOutput Output(const BeadRecord* motion, double time);
  MoveOutput HalfwayOutput(const BeadRecord* motion, double time, std::vector<BeadRecord>& halfway);
  /// Goes over to `next`.
  void Follow(bool lists_valid);

  /// Makes the lists where they no longer serve. Order of beads and of lists is a function of places alone.
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
  /// For tests: puts the beads elsewhere, by id.
  void Place(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y);

  /// Runs work(first_group, last_group) over all groups, by all threads where the bed is large.
  template <class Work>
  void ForGroups(const Work& work) const {
    kernels::ForGroups(groups(), tiled(), work);
  }
  /// The same, with the worst health of the parts.
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
  std::vector<float> motion_now_, motion_next_;            // (3 * padded) where records hold expected motions; or empty
  std::vector<ThermalMotion> thermal_now_, thermal_next_;  // (padded) where there are those
  std::vector<float> remainder_halfway_;                   // (2 * padded), thrown away
  std::vector<std::uint32_t> built_x_, built_y_;           // (padded + kPadding) places when the lists were made
  std::vector<std::int64_t> path_x_, path_y_;              // (beads) path at that time, quanta
  std::vector<std::uint32_t> slot_of_;                     // (beads) id -> place in memory
  CellGrid grid_;
  CellOrder cells_;
  std::vector<std::uint32_t> partners_, counts_;
  std::int64_t capacity_ = 16;
  bool lists_valid_ = false;
  Ensemble::RebuildStats rebuilds_;
};

}  // namespace gyrebox::kernels
