/// Where a run stands, and what happens to it when it becomes unstable: the part of a run that does not depend on what
/// its beads are stepped by.
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

/// Whether sweeps start from motions carried on from the last two steps, see model/two_steps.h: beads then keep the
/// motion that their neighbours expect of them beside that of the last step.
bool CarriesSweeps(const RunSpec& spec);

class Course {
 public:
  explicit Course(const RunSpec& spec) : spec_(spec), controls_(spec) { spec_.start.laid_out.reset(); }

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
  bool at_keep() const { return substep_ == 0 && spec_.retry.most_halvings > 0 && step_ % spec_.retry.keep_steps == 0; }
  /// Names the random numbers of the present substep. Those of a halved step are far from those of any whole step.
  std::uint64_t moment() const {
    return static_cast<std::uint64_t>(step_) | static_cast<std::uint64_t>(halvings_) << 56 |
           static_cast<std::uint64_t>(substep_) << 48;
  }

  bool rate_imposed() const { return spec_.drive.quantity == DriveSpec::Quantity::kRate; }
  bool lagged() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kLagged; }
  bool brownian() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kBrownian; }
  bool converged() const { return spec_.dynamics.equation == DynamicsSpec::Equation::kConverged; }

  /// Whether the present step takes a midpoint: it is of second order by itself.
  bool midpoint() const { return converged() && spec_.dynamics.midpoint && settings().temperature > 0; }
  /// Whether the present step is carried on from the one before.
  bool two_steps() const { return spec_.dynamics.step == DynamicsSpec::Step::kSecondOrder && !midpoint(); }
  /// Weight of the last change of the motion in the present substep, see model/two_steps.h. There is no such change in
  /// the first substep of all, of a halved step, and where the settings jump.
  double carried_weight() const;
  /// Moment whose drive the present substep takes, from its beginning on, tau.
  double drive_ahead() const { return two_steps() ? 0 : substep_time() / 2; }

  /// From what the drive imposes to what a bead holds of it: under brownian dynamics a torque is its spin.
  double drive_scale() const { return brownian() && !rate_imposed() ? 1 / spec_.drag.rotational : 1; }
  /// Largest move of a bead in the present substep, sigma: the limit of the spec, and as much again as a kick of noise
  /// can come to.
  double largest_move() const;
  /// How far a bead may drift before its list no longer serves, sigma. A converged step looks at pairs half way through
  /// it too.
  double half_skin() const { return kSkin / 2 - (converged() ? spec_.health.largest_move / 2 : 0); }

  /// Throws std::invalid_argument where a state is of another bed.
  void Check(const BedState& state) const;

  /// One substep on.
  void Pass() {
    has_past_ = true;
    if (++substep_ < substeps()) return;
    substep_ = 0;
    ++step_;
  }
  /// Whether the motion that beads have is that of the substep before.
  bool has_past() const { return has_past_; }
  /// Back to an earlier substep of the same past.
  void Rewind(std::int64_t step, std::int64_t substep, bool has_past) {
    step_ = step;
    substep_ = substep;
    has_past_ = has_past;
    controls_.GoTo(step);
  }
  /// To a state that has been loaded; a retry goes back no further.
  void GoTo(const BedState& state);
  /// The last step is this one, or the present one where that is past it.
  void EndAt(std::int64_t step) {
    if (running()) spec_.n_steps = std::max(step, step_);
  }

  /// Takes an adjustment. @return the first step that it holds for.
  std::int64_t Adjust(Adjustment adjustment);

  // Set the fault. @param place of the first bead, sigma.
  void FailClosestPair(const std::vector<std::int64_t>& beads, const std::vector<double>& place, double distance);
  /// @param is_number whether the move, sigma, is a number that means anything.
  void FailLargestMove(std::int64_t bead, const std::vector<double>& place, double move, bool is_number);
  void FailNotConverged(double residual);
  void FailToStart(const std::string& why);
  void Finish() { verdict_ = Verdict::kFinished; }
  void Drop() {
    if (running()) verdict_ = Verdict::kDropped;
  }

  /// Keeps a sample until it is part of a past that stands.
  void Hold(Sample sample) { held_back_.push_back(std::move(sample)); }
  /// Says once where one sweep a step no longer follows the forces. @param residual of the friction system.
  void Alarm(double residual, double at_time, RunChunk& chunk);
  /// Keeps the state to go back to.
  void Keep(const BedState& state, RunChunk& chunk);
  bool has_kept_now() const { return kept_ && kept_->step == step_; }
  /// The state that a retry would go back to; null where there is none.
  const BedState* kept() const { return kept_ ? &*kept_ : nullptr; }
  /// After a fault: the state to go back to, from which the run goes on with half the step; or null, and the run ends.
  const BedState* Retry(RunChunk& chunk);
  /// After the state of Retry() has been loaded.
  void GoOnHalved();
  /// Hands out what was held back.
  void Release(RunChunk& chunk);
  /// Hands out what no retry can take back, and says where the run stands.
  void Close(RunChunk& chunk);

 private:
  /// @param format takes the figure and its limit.
  void Fail(Fault::Reason reason, const std::vector<std::int64_t>& beads, const std::vector<double>& place,
            const char* format, double figure, double limit);

  RunSpec spec_;
  Controls controls_;
  std::int64_t step_ = 0;
  std::int64_t substep_ = 0;
  int halvings_ = 0;
  bool has_past_ = false;
  Verdict verdict_ = Verdict::kRunning;
  std::optional<Fault> fault_;
  bool alarmed_ = false;
  int halvings_to_try_ = 0;

  // Where a retry goes back to, and what is held back until the next such state.
  std::optional<BedState> kept_;
  std::vector<Sample> held_back_;
  std::vector<Fault> faults_to_pass_;
};

}  // namespace gyrebox::kernels
