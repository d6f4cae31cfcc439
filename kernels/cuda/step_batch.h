/// A batch of substeps of one bed.
#pragma once

#include "cuda/converged.h"
#include "cuda/rebuild.h"

namespace gyrebox::kernels::cuda {

/// Outcome of one substep.
struct StepOutcome {
  HealthSlot health;
  bool converged = true;
  double residual = 0;
  std::uint32_t iterations = 0;
};

/// Sets the numbers of the substeps of a batch, and of the substep after it.
template <class Team>
GYREBOX_PASS void ExpandStepRequests(Team& team, const BedPlan& plan, std::uint32_t substeps,
                                     const StepRequest* requests, const StepSettings* settings, StepNumbers* numbers) {
  for (std::uint32_t k = team.rank(); k <= substeps; k += team.size()) {
    static_cast<StepSettings&>(numbers[k]) = settings[requests[k].settings];
    numbers[k].keys = KeysOfStep(plan.noise_seed, requests[k].moment);
    numbers[k].drive = requests[k].drive;
  }
  team.Sync();
}

template <class Mode, class Team, class Index>
class StepBatchRunner {
 public:
  /// @param numbers one more than the batch's substeps, set by ExpandStepRequests().
  GYREBOX_PASS StepBatchRunner(Team& team, BedView<Index>& bed, StepNumbers* numbers,
                               const PerSpinnerDriveNumbers* own_numbers)
      : team_(team), bed_(bed), plan_(bed.plan), numbers_(numbers), own_numbers_(own_numbers) {}

  /// Takes the substeps of a batch, and probes the bed if requested. `status` is the bed's current status, the same in
  /// all threads; the caller writes it back.
  GYREBOX_PASS void Run(const StepBatch& batch, BedStatus& status, Probe& probe) {
    bed_.half = status.half;
    if (batch.prepare) PrepareLists(status);
    bool imposed = false;
    for (std::uint32_t k = 0; k < batch.substeps; ++k) {
      if (!PrepareLists(status)) break;
      if (!imposed || numbers_[k].differ) ImposeSpin(team_, bed_, numbers_[k], own_numbers_);
      imposed = true;
      const StepOutcome outcome = Step(k, true, k + 1 < batch.substeps);
      if (!Judge(k, outcome, true, status)) break;
      bed_.half ^= 1;
      if (numbers_[k].per_spinner_drive >= 0) {
        AdvancePerSpinnerDrive(team_.rank(), team_.size(), plan_, own_numbers_[numbers_[k].per_spinner_drive],
                               numbers_[k].time);
        team_.Sync();
      }
      status.lists_valid = FromBits(outcome.health.drift) <= plan_.half_skin_squared;
      ++status.taken;
    }
    if (batch.probe && status.stop == Stop::kNone && PrepareLists(status)) Evaluate(batch.substeps, status, probe);
    status.half = bed_.half;
  }

  GYREBOX_PASS bool PrepareLists(BedStatus& status) {
    if (status.lists_valid) return true;
    SortBeads(team_, bed_);
    const std::uint32_t most = ListPartners(team_, bed_);
    status.max_partners = most;
    if (most > plan_.capacity) {
      status.stop = Stop::kListFull;
      return false;
    }
    ++status.rebuilds;
    status.lists_valid = true;
    return true;
  }

 private:
  // Computes the coming motion without moving the beads. The drive of the coming step overwrites the spins of the last
  // one, which are saved meanwhile in the angles of the next half.
  GYREBOX_PASS void Evaluate(std::uint32_t k, BedStatus& status, Probe& probe) {
    float* spin = bed_.Now(bed_.spin);
    std::uint32_t* kept = bed_.Next(bed_.angle);
    for (std::uint32_t i = team_.rank(); i < plan_.n; i += team_.size()) kept[i] = OrderedBits(spin[i]);
    team_.Sync();
    ImposeSpin(team_, bed_, numbers_[k], own_numbers_);
    const StepOutcome outcome = Step(k, false, false);
    if (Judge(k, outcome, false, status)) {
      probe.taken = true;
      probe.closest_squared = outcome.health.closest_squared();
      probe.largest_move_squared = FromBits(outcome.health.move);
      probe.residual = outcome.residual;
      if constexpr (Mode::kLagged) {
        probe.residual = ResidualOfNext<Mode>(team_, bed_, numbers_[k], own_numbers_, false);
      }
    }
    team_.Sync();
    for (std::uint32_t i = team_.rank(); i < plan_.n; i += team_.size()) spin[i] = FromBits(kept[i]);
    team_.Sync();
  }

  GYREBOX_PASS StepOutcome Step(std::uint32_t k, bool follow, bool goes_on) {
    const StepNumbers& numbers = numbers_[k];
    MoveOptions options;
    options.follow = follow;
    options.spin_is_given = goes_on && (Mode::kBrownian || plan_.rate_imposed);
    if (goes_on) options.next_drive = numbers_[k + 1].drive;
    HealthOfThread health;
    StepOutcome outcome;
    if constexpr (Mode::kBrownian) {
      BrownianPass(team_, bed_, numbers, options, health);
    } else if constexpr (Mode::kConverged) {
      const SolverReport report = ConvergedPass(team_, bed_, numbers, own_numbers_, options, health);
      outcome.converged = report.converged;
      outcome.residual = report.relative_residual;
      outcome.iterations = static_cast<std::uint32_t>(report.iterations);
    } else {
      LaggedPass<Mode>(team_, bed_, numbers, own_numbers_, options, health);
    }
    outcome.health = team_.Worst(health.Slot());
    return outcome;
  }

  GYREBOX_PASS bool Judge(std::uint32_t k, const StepOutcome& outcome, bool followed, BedStatus& status) {
    status.closest_squared = outcome.health.closest_squared();
    status.largest_move_squared = FromBits(outcome.health.move);
    status.residual = outcome.residual;
    status.iterations += outcome.iterations;
    if (status.closest_squared < plan_.closest_squared ||
        !(status.largest_move_squared <= numbers_[k].largest_move_squared)) {
      status.stop = Stop::kUnsound;
      if constexpr (Mode::kLagged) {
        status.residual = ResidualOfNext<Mode>(team_, bed_, numbers_[k], own_numbers_, followed);
      }
    } else if (!outcome.converged) {
      status.stop = Stop::kNotConverged;
    }
    return status.stop == Stop::kNone;
  }

  Team& team_;
  BedView<Index>& bed_;
  const BedPlan& plan_;
  StepNumbers* numbers_;
  const PerSpinnerDriveNumbers* own_numbers_;
};

}  // namespace gyrebox::kernels::cuda
