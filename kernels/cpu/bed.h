/// One run on the CPU: its bed, controls, steps and results.
#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <vector>

#include "cpu/bead_arrays.h"
#include "cpu/friction_solver.h"
#include "dynamics/course.h"
#include "dynamics/spinner_drive.h"
#include "gyrebox/ensemble.h"
#include "measure/fault_search.h"
#include "measure/observables.h"

namespace gyrebox::kernels {

class Bed {
 public:
  Bed(const RunSpec& spec, const StepCode& code);

  const RunSpec& spec() const { return course_.spec(); }
  const std::vector<Column>& columns() const { return observables_.columns(); }

  /// Takes up to `steps` more steps, or none if the run has ended.
  /// @param max_sweeps max sweeps of a converged step in one chunk. If it takes more, the chunk ends within the step,
  /// and the next chunk continues there.
  RunChunk Advance(std::int64_t steps, std::int64_t max_sweeps = std::numeric_limits<std::int64_t>::max());
  void Drop() { course_.Drop(); }
  std::int64_t Adjust(const Adjustment& adjustment);
  const std::vector<Adjustment>& adjustments() const { return course_.controls().adjustments(); }
  void EndAt(std::int64_t step) { course_.EndAt(step); }
  BedState Save() const;
  BedState Checkpoint() const;
  void Load(const BedState& state);
  std::vector<Bead> Beads() const;
  const Ensemble::RebuildStats& rebuilds() const { return beads_.rebuilds(); }

  /// For tests: ids of the listed partners of a bead within a distance (at most the longest cut-off), ascending.
  std::vector<std::uint32_t> PartnersWithin(std::uint32_t id, double distance) const;
  /// For tests: sets the positions of the beads, by id. To be called before the first step.
  void SetPositions(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y) { beads_.SetPositions(x, y); }

 private:
  Bed(const RunSpec& spec, const StepCode& code, StartState start);

  struct StepResult {
    StepHealth health;
    SolverReport solver;  // of the converged solver
  };

  bool TakeStep(RunChunk& chunk);
  /// None if a converged step has to continue in the next chunk.
  std::optional<StepResult> Compute();
  std::optional<StepResult> ComputeConverged();
  bool GoOnSolving(const StepInput& input, const SolverAim& aim);
  /// Restores the spins that the drive of the current step has overwritten.
  void RestoreSpins(std::vector<BeadRecord>& beads) const;
  StepInput Laws() const;
  void ImposeDrive();
  bool Sound(const StepResult& result);
  Sample TakeSample(const StepResult& result);
  double LaggedResidual();
  void TakeSnapshot(Snapshot& out) const;
  float TorqueOn(std::int64_t bead) const;

  FailedStep Failed() const;
  void Retry(RunChunk& chunk);

  Course course_;
  std::vector<std::uint32_t> start_x_, start_y_;  // positions at time 0, by id
  BeadArrays beads_;
  FrictionSolver solver_;
  std::vector<BeadRecord> other_motion_;  // (padded) at mid-step, or to be judged; empty until first used
  std::vector<std::uint32_t> spinners_;   // ids
  SpinnerDrive drive_;
  std::vector<float> drive_values_;  // (spinners)
  std::vector<float> torques_;       // (padded beads), where torques differ
  float common_torque_ = 0;
  Observables observables_;
  Snapshot snapshot_;  // memory kept from sample to sample

  double residual_ = 0;  // of the friction system at the last sample

  // An unfinished converged step.
  struct Solving {
    bool halfway = false;  // the first solve of a midpoint step is done
    SolverReport first;    // its report
    float closest = 0;     // squared, sigma^2
  };
  std::optional<Solving> solving_;
  std::vector<float> spins_before_;  // (spinners) spins before the drive of an unfinished step overwrote them
  std::int64_t max_sweeps_ = 0, sweeps_left_ = 0;  // per step in this chunk
};

}  // namespace gyrebox::kernels
