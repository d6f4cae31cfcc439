/// One bed on the CPU: its beads in memory order, its partner lists, and its steps.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "cpu/step.h"
#include "gyrebox/ensemble.h"
#include "gyrebox/run_spec.h"
#include "measure/clusters.h"
#include "neighbors/cells.h"

namespace gyrebox::kernels {

/// Width beyond the longest cut-off up to which partners are listed, sigma. Lists stay valid while no bead has moved
/// half of it. 0.4 was the best of 0.2 to 0.6 on a dense driven bed (gyrebox_bench, case streamed_16k).
inline constexpr double kSkin = 0.4;
double ListReach(const RunSpec& spec);

/// Beds of at least this many beads share the work of one step between threads; smaller ones take a thread each.
inline constexpr std::int64_t kTiledBeads = 8192;

/// The state of a bed lives in two copies: a step reads one and writes the other, so every bead sees its neighbours as
/// they were, whatever the order of work.
class Bed {
 public:
  Bed(const RunSpec& spec, const StepCode& code);

  const RunSpec& spec() const { return spec_; }
  static const std::vector<Column>& Columns();

  /// Takes up to `steps` more steps, or none where the run is at its end.
  RunChunk Advance(std::int64_t steps);
  void Drop() { verdict_ = Verdict::kDropped; }
  Verdict verdict() const { return verdict_; }
  std::vector<Bead> Beads() const;
  Ensemble::RebuildStats rebuilds() const { return rebuilds_; }

  /// For tests: ids of the partners of a bead within a distance (at most the longest cut-off), ascending, as the lists
  /// have them.
  std::vector<std::uint32_t> PartnersWithin(std::uint32_t id, double distance) const;
  /// For tests: puts the beads elsewhere, by id. To be called before the first step.
  void Place(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y);

 private:
  void Rebuild();
  void SortBeads();
  void ListPartners();
  StepInput NextStep() const;
  StepHealth Step(const StepInput& input);
  /// Judges the step just computed, takes the sample that is due, and goes over to the new state. False at the end.
  bool Conclude(const StepHealth& health, RunChunk& chunk);
  Sample TakeSample(const StepHealth& health);
  double FrictionResidual();
  /// Drive at the middle of the step that starts `steps_ahead` steps from now.
  double DriveAhead(int steps_ahead) const;
  bool rate_imposed() const { return spec_.drive.quantity == DriveSpec::Quantity::kRate; }
  void FailClosestPair();
  void FailLargestMove(const StepHealth& health);
  double time() const { return static_cast<double>(step_) * spec_.time_step; }
  template <class Work>
  void ForGroups(const Work& work) const;

  RunSpec spec_;
  const StepCode& code_;
  std::int64_t n_padded_ = 0;
  std::int64_t step_ = 0;
  std::uint64_t phase_ = 0;          // of the drive at step_, as a fraction of a turn
  std::uint64_t phase_advance_ = 0;  // in one step
  Verdict verdict_ = Verdict::kRunning;
  std::optional<Fault> fault_;

  std::vector<BeadRecord> now_, next_;                   // (padded), memory order
  std::vector<float> remainder_now_, remainder_next_;    // (2 * padded)
  std::vector<std::uint32_t> built_x_, built_y_;         // (padded + kPadding) places when the lists were built
  std::vector<std::int64_t> unwrapped_x_, unwrapped_y_;  // (beads) path at that time, quanta
  std::vector<std::uint32_t> slot_of_;                   // (beads) id -> place in memory
  CellGrid grid_;
  CellOrder cells_;
  std::vector<std::uint32_t> partners_, counts_;
  std::int64_t capacity_ = 16;
  bool lists_valid_ = false;
  Ensemble::RebuildStats rebuilds_;

  ClusterFinder clusters_;
  std::vector<std::uint32_t> spinner_x_, spinner_y_;
};

}  // namespace gyrebox::kernels
