/// One run on the CPU: its bed, its controls, its steps, and what it finds.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "cpu/bead_arrays.h"
#include "cpu/friction_solver.h"
#include "dynamics/controls.h"
#include "dynamics/spinner_drive.h"
#include "gyrebox/ensemble.h"
#include "measure/observables.h"

namespace gyrebox::kernels {

class Bed {
 public:
  Bed(const RunSpec& spec, const StepCode& code);

  const RunSpec& spec() const { return spec_; }
  const std::vector<Column>& columns() const { return observables_.columns(); }

  /// Takes up to `steps` more steps, or none where the run is at its end.
  RunChunk Advance(std::int64_t steps);
  void Drop() {
    if (verdict_ == Verdict::kRunning) verdict_ = Verdict::kDropped;
  }
  std::int64_t Adjust(Adjustment adjustment);
  const std::vector<Adjustment>& adjustments() const { return controls_.adjustments(); }
  BedState Save() const;
  void Load(const BedState& state);
  std::vector<Bead> Beads() const;
  const Ensemble::RebuildStats& rebuilds() const { return beads_.rebuilds(); }

  /// For tests: ids of the partners of a bead within a distance (at most the longest cut-off), ascending, as the lists
  /// have them.
  std::vector<std::uint32_t> PartnersWithin(std::uint32_t id, double distance) const;
  /// For tests: puts the beads elsewhere, by id. To be called before the first step.
  void Place(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y) { beads_.Place(x, y); }

 private:
  struct StepResult {
    StepHealth health;
    SolverReport solver;  // of the converged solver
  };

  bool TakeStep(RunChunk& chunk);
  StepResult Compute();
  StepResult ComputeConverged(const StepInput& input);
  StepInput Laws() const;
  void ImposeDrive();
  bool Sound(const StepResult& result);
  Sample TakeSample(const StepResult& result);
  double LaggedResidual();
  Snapshot Photograph() const;
  float TorqueOn(std::int64_t bead) const;

  void Fail(Fault::Reason reason, std::vector<std::int64_t> beads, const char* format, double figure, double limit);
  /// Nearest-image distance of two beads, sigma.
  double Distance(const BeadRecord& a, const BeadRecord& b) const;
  void FailClosestPair();
  void FailLargestMove(const StepHealth& health);
  bool Retry(RunChunk& chunk);
  void Keep(RunChunk& chunk);
  void Release(RunChunk& chunk);
  void Alarm(RunChunk& chunk);

  double time() const { return static_cast<double>(step_) * spec_.time_step; }
  std::int64_t substeps() const { return std::int64_t{1} << halvings_; }
  double substep_time() const { return spec_.time_step / static_cast<double>(substeps()); }
  bool rate_imposed() const { return spec_.drive.quantity == DriveSpec::Quantity::kRate; }
  bool lagged() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kLagged; }
  bool brownian() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kBrownian; }
  bool converged() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kConverged; }
  bool at_whole_sample() const {
    return step_ == spec_.n_steps || step_ / spec_.measure.interval_steps % spec_.measure.structure_every == 0;
  }
  bool at_sample() const { return step_ == spec_.n_steps || step_ % spec_.measure.interval_steps == 0; }

  RunSpec spec_;
  StartState start_;
  BeadArrays beads_;
  FrictionSolver solver_;
  std::vector<BeadRecord> halfway_;
  Controls controls_;
  std::vector<std::uint32_t> spinners_;  // ids
  SpinnerDrive drive_;
  std::vector<float> drive_values_;  // (spinners)
  std::vector<float> torques_;       // (padded beads), where torques differ
  float common_torque_ = 0;
  Observables observables_;

  std::int64_t step_ = 0;
  std::int64_t substep_ = 0;
  int halvings_ = 0;
  Verdict verdict_ = Verdict::kRunning;
  std::optional<Fault> fault_;
  bool alarmed_ = false;
  double residual_ = 0;  // of the friction system at the last sample

  // Where a retry goes back to, and what is held back until the next such state.
  std::optional<BedState> kept_;
  std::vector<Sample> held_back_;
  std::vector<Fault> faults_to_pass_;
};

}  // namespace gyrebox::kernels
