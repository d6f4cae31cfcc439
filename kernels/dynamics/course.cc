#include "dynamics/course.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <iterator>
#include <stdexcept>

#include "gyrebox/step_choice.h"
#include "model/two_steps.h"

namespace gyrebox::kernels {
namespace {

// The residual of a Jacobi sweep exceeds this only where sweeps diverge: no motion at all gives 1.
constexpr double kWarningResidual = 1;

}  // namespace

bool CarriesSweeps(const RunSpec& spec) {
  return spec.dynamics.equation == DynamicsSpec::Equation::kLagged &&
         spec.dynamics.step == DynamicsSpec::Step::kSecondOrder;
}

void Course::Save(BedState& state) const {
  state.step = step_;
  state.halvings = halvings_;
  state.has_past = has_past_;
}

void Course::Check(const BedState& state) const {
  const auto n = static_cast<std::size_t>(spec_.n_beads), n_spinners = static_cast<std::size_t>(spec_.n_spinners);
  if (state.x.size() != n || state.kind.size() != n || (!state.expected_vx.empty() && state.expected_vx.size() != n) ||
      (!state.thermal_vx.empty() && state.thermal_vx.size() != n) || state.turns.size() > n_spinners ||
      state.phases.size() != WaveSpec::kMaxTerms * (1 + state.turns.size()) || state.step < 0 ||
      state.step > spec_.n_steps) {
    throw std::invalid_argument("the saved state is of another bed");
  }
}

void Course::GoTo(const BedState& state) {
  step_ = state.step;
  substep_ = 0;
  halvings_ = state.halvings;
  has_past_ = state.has_past;
  controls_.GoTo(step_);
  verdict_ = Verdict::kRunning;
  fault_.reset();
  if (spec_.retry.max_halvings > 0) kept_ = state;
}

double Course::largest_move() const {
  const double kick = std::sqrt(2 * settings().temperature * substep_time() / spec_.drag.translational);
  return spec_.health.largest_move + kLargestKick * kick;
}

double Course::carried_weight() const {
  const bool jumps = substep_ == 0 && controls_.JumpsAt(step_);
  return two_steps() && has_past_ && !jumps ? kAdamsBashforth : 0;
}

std::int64_t Course::Adjust(Adjustment adjustment) {
  if (adjustment.wave.size() > 1) throw std::invalid_argument("an adjustment takes one wave at most");
  adjustment.step = std::max(adjustment.step, step_);
  controls_.Add(adjustment);
  return adjustment.step;
}

void Course::Fail(Fault::Reason reason, const std::vector<std::int64_t>& beads, const std::vector<double>& position,
                  const char* format, double figure, double limit) {
  char text[200], when[60];
  std::snprintf(text, sizeof(text), format, figure, limit);
  std::snprintf(when, sizeof(when), " at t = %.6g tau", time());
  std::string who;
  for (const std::int64_t bead : beads) who += (who.empty() ? "" : " and ") + std::to_string(bead);
  if (!who.empty()) who = (beads.size() > 1 ? "beads " : "bead ") + who + " ";
  fault_ = Fault{reason, who + text + when, step_, time(), beads, position};
}

void Course::FailClosestPair(const std::vector<std::int64_t>& beads, const std::vector<double>& position,
                             double distance) {
  Fail(Fault::Reason::kClosestPair, beads, position,
       "came as close as %.3f sigma (limit %.3f), and pass through each other", distance, spec_.health.closest_pair);
}

void Course::FailLargestMove(std::int64_t bead, const std::vector<double>& position, double move, bool is_number) {
  Fail(is_number ? Fault::Reason::kLargestMove : Fault::Reason::kNotFinite, {bead}, position,
       "would move %.3g sigma in one step (limit %.3g)", move, largest_move());
}

void Course::FailNotConverged(double residual) {
  Fail(Fault::Reason::kNotConverged, {}, {}, "the friction solver stopped at a residual of %.3g (limit %.3g)", residual,
       spec_.dynamics.tolerance);
}

void Course::FailToStart(const std::string& why) {
  verdict_ = Verdict::kFailed;
  fault_ = Fault{Fault::Reason::kStartNotReached, why, 0, 0, {}, {}};
}

void Course::Warning(double residual, double at_time, RunChunk& chunk) {
  if (warned_ || !lagged() || residual <= kWarningResidual) return;
  warned_ = true;
  char text[240];
  std::snprintf(text, sizeof(text),
                "one sweep a step does not keep the forces in balance: a residual of %.3g at t = %.6g tau, where no "
                "motion at all would leave 1; use the converged solver",
                residual, at_time);
  chunk.warning = text;
}

void Course::Release(RunChunk& chunk) {
  std::move(held_back_.begin(), held_back_.end(), std::back_inserter(chunk.samples));
  held_back_.clear();
  for (Fault& fault : faults_to_pass_) {
    if (fault.step >= step_) continue;
    fault.cause = Fault::Cause::kNumerical;
    chunk.passed.push_back(fault);
  }
  std::erase_if(faults_to_pass_, [&](const Fault& fault) { return fault.step < step_; });
}

void Course::Keep(const BedState& state, RunChunk& chunk) {
  kept_ = state;
  Release(chunk);
}

const BedState* Course::Retry(RunChunk& chunk) {
  if (!kept_ || halvings_ >= spec_.retry.max_halvings) {
    if (spec_.retry.max_halvings > 0) fault_->cause = Fault::Cause::kPhysical;
    verdict_ = Verdict::kUnstable;
    Release(chunk);
    return nullptr;
  }
  faults_to_pass_.push_back(*fault_);
  halvings_to_try_ = halvings_ + 1;
  return &*kept_;
}

void Course::GoOnHalved() {
  halvings_ = halvings_to_try_;
  has_past_ = false;
  std::erase_if(held_back_, [&](const Sample& sample) { return sample.step >= step_; });
}

void Course::Close(RunChunk& chunk) {
  if (verdict_ == Verdict::kFinished || spec_.retry.max_halvings == 0) Release(chunk);
  chunk.step = step_;
  chunk.time = time();
  chunk.verdict = verdict_;
  chunk.fault = fault_;
}

}  // namespace gyrebox::kernels
