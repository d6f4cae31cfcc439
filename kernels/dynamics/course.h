/// Progress of a run and recovery from instability: the part of a run that does not depend on the backend.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "dynamics/controls.h"
#include "gyrebox/bed_state.h"
#include "gyrebox/ensemble.h"
#include "neighbors/skin.h"

namespace gyrebox::kernels {

/// Whether sweeps start from motions extrapolated from the last two steps (model/two_steps.h). Beads then store both
/// their extrapolated motion, which neighbours read, and that of the last step.
bool CarriesSweeps(const RunSpec& spec);

class Course {
 public:
  explicit Course(const RunSpec& spec) : spec_(spec), controls_(spec) { spec_.start.initial.reset(); }

  const RunSpec& spec() const { return spec_; }
  Controls& controls() { return controls_; }
  const Controls& controls() const { return controls_; }
  const Settings& settings() const { return controls_.settings(); }
  Verdict verdict() const { return verdict_; }
  bool running() const { return verdict_ == Verdict::kRunning; }
  const std::optional<Fault>& fault() const { return fault_; }

  std::int64_t step() const { return step_; }
  std::int64_t substep() const { return substep_; }
  int halvings() const { return halvings_; }
  double time() const { return static_cast<double>(step_) * spec_.time_step; }
  std::int64_t substeps() const { return std::int64_t{1} << halvings_; }
  double substep_time() const { return spec_.time_step / static_cast<double>(substeps()); }
  bool at_end() const { return step_ == spec_.n_steps; }
  bool at_sample() const { return substep_ == 0 && (at_end() || step_ % spec_.measure.interval_steps == 0); }
  bool at_whole_sample() const {
    return at_end() || step_ / spec_.measure.interval_steps % spec_.measure.structure_every == 0;
  }
  /// Counter that selects the random numbers of the current substep. Halved steps use counters far from those of any
  /// whole step.
  std::uint64_t moment() const {
    return static_cast<std::uint64_t>(step_) | static_cast<std::uint64_t>(halvings_) << 56 |
           static_cast<std::uint64_t>(substep_) << 48;
  }

  bool rate_imposed() const { return spec_.drive.quantity == DriveSpec::Quantity::kRate; }
  bool lagged() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kLagged; }
  bool brownian() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kBrownian; }
  bool converged() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kConverged; }

  /// Whether the current step is a midpoint step, which is second order by itself.
  bool midpoint() const { return converged() && spec_.dynamics.midpoint && settings().temperature > 0; }
  /// Whether the current step extrapolates from the previous one.
  bool two_steps() const { return spec_.dynamics.step == DynamicsSpec::Step::kSecondOrder && !midpoint(); }
  /// Weight of the last change of motion in the current substep (model/two_steps.h). 0 in the first substep of a run,
  /// in the first one after a rollback to half the step, and where settings jump.
  double carried_weight() const;
  /// Time at which the current substep evaluates the drive, from the start of the substep, tau.
  double drive_ahead() const { return two_steps() ? 0 : substep_time() / 2; }

  /// Factor from the imposed drive to the value stored per bead: in Brownian dynamics a torque is stored as a spin.
  double drive_scale() const { return brownian() && !rate_imposed() ? 1 / spec_.drag.rotational : 1; }
  /// Max move of a bead in the current substep, sigma: the limit of the spec plus the largest thermal kick.
  double largest_move() const;
  /// Drift of a bead up to which its list stays valid, sigma. A converged step also evaluates pairs at its midpoint.
  double half_skin() const { return kSkin / 2 - (converged() ? spec_.health.largest_move / 2 : 0); }

  /// Writes the step and its halvings to the state of the bed.
  void Save(BedState& state) const;
  /// Throws std::invalid_argument if the state belongs to another bed.
  void Check(const BedState& state) const;

  /// Advances by one substep.
  void Pass() {
    has_past_ = true;
    if (++substep_ < substeps()) return;
    substep_ = 0;
    ++step_;
  }
  /// Whether the stored motions are those of the previous substep.
  bool has_past() const { return has_past_; }
  /// Goes back to an earlier substep of the same history.
  void Rewind(std::int64_t step, std::int64_t substep, bool has_past) {
    step_ = step;
    substep_ = substep;
    has_past_ = has_past;
    controls_.GoTo(step);
  }
  /// Moves to a state that has been loaded; a retry goes back no further.
  void GoTo(const BedState& state);
  /// Ends the run at this step, or at the current one if that is later.
  void EndAt(std::int64_t step) {
    if (running()) spec_.n_steps = std::max(step, step_);
  }

  /// Adds an adjustment. @return the step at which it takes effect.
  std::int64_t Adjust(Adjustment adjustment);

  // These set the fault. @param position of the first bead, sigma.
  void FailClosestPair(const std::vector<std::int64_t>& beads, const std::vector<double>& position, double distance);
  /// @param is_number whether the move, sigma, is finite.
  void FailLargestMove(std::int64_t bead, const std::vector<double>& position, double move, bool is_number);
  void FailNotConverged(double residual);
  void FailToStart(const std::string& why);
  void Finish() { verdict_ = Verdict::kFinished; }
  void Drop() {
    if (running()) verdict_ = Verdict::kDropped;
  }

  /// Holds a sample back until no retry can discard it.
  void Hold(Sample sample) { held_back_.push_back(std::move(sample)); }
  /// Warns once where one sweep per step no longer balances the forces. @param residual of the friction system.
  void Warning(double residual, double at_time, RunChunk& chunk);
  /// Keeps the state for a rollback, and releases what was held back.
  void Keep(const BedState& state, RunChunk& chunk);
  bool keep_is_due() const {
    return substep_ == 0 && spec_.retry.max_halvings > 0 && step_ % spec_.retry.keep_steps == 0 &&
           !(kept_ && kept_->step == step_);
  }
  /// State that a retry would roll back to; null if there is none.
  const BedState* kept() const { return kept_ ? &*kept_ : nullptr; }
  /// Handles a fault. @return the state to roll back to, from which the run continues with half the step; null if the
  /// run ends.
  const BedState* Retry(RunChunk& chunk);
  /// Continues with half the step. Call after loading the state that Retry() returned.
  void GoOnHalved();
  /// Adds the samples held back, and the faults recovered, to the chunk.
  void Release(RunChunk& chunk);
  /// Completes a chunk: adds everything that no retry can discard, and the run's step, time, verdict and fault.
  void Close(RunChunk& chunk);

 private:
  /// @param format printf format for the figure and its limit.
  void Fail(Fault::Reason reason, const std::vector<std::int64_t>& beads, const std::vector<double>& position,
            const char* format, double figure, double limit);

  RunSpec spec_;
  Controls controls_;
  std::int64_t step_ = 0;
  std::int64_t substep_ = 0;
  int halvings_ = 0;
  bool has_past_ = false;
  Verdict verdict_ = Verdict::kRunning;
  std::optional<Fault> fault_;
  bool warned_ = false;
  int halvings_to_try_ = 0;

  // State that a retry rolls back to, and output held back until the next such state.
  std::optional<BedState> kept_;
  std::vector<Sample> held_back_;
  std::vector<Fault> faults_to_pass_;
};

}  // namespace gyrebox::kernels
