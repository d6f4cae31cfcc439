#include "study/time_step.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "schema/number_text.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "study/point_setter.h"
#include "study/round_off.h"
#include "study/run_spec.h"
#include "study/schedule.h"

namespace gyrebox::study {

using schema::NumberText;

/// Shortest step in tau. With a shorter one, a run of the max number of steps shows no motion.
constexpr double kShortestStep = 1e-9;

static std::string Short(double value) { return NumberText(value, 3); }

kernels::Peaks PeaksOf(const v1::StudySpec& at) {
  kernels::RunSpec spec = ToPhysics(at);
  spec.adjustments = ChangesInOrder(at);
  return kernels::PeaksOf(spec);
}

kernels::StepChoice StepByRule(const v1::StudySpec& at, const kernels::Peaks& peaks) {
  return kernels::ChooseStep(ToPhysics(at), peaks, PackingFraction(at.bed()));
}

static bool IsOver(double step, const kernels::StepChoice& rule) { return step > rule.step * (1 + kRoundOff); }

/// The rule's step, shortened so that samples are a whole number of steps apart. The longest allowed step is kept as it
/// is, and so is a step longer than the interval, which is rejected later.
static double Fitted(const kernels::StepChoice& choice, double interval) {
  const double step = std::max(choice.step, kShortestStep);
  if (choice.limit == kernels::StepLimit::kLargest || !(interval >= step)) return step;
  return std::max(interval / std::ceil(interval / step * (1 - kRoundOff)), kShortestStep);
}

/// Step order for a study that gives none.
static int OpenOrder(const v1::StudySpec& at, const kernels::Peaks& peaks) {
  using Step = kernels::DynamicsSpec::Step;
  kernels::RunSpec run = ToPhysics(at);
  const double packing = PackingFraction(at.bed());
  if (!at.dynamics().has_time_step()) return kernels::ChooseOrder(run, peaks, packing) == Step::kFirstOrder ? 1 : 2;
  run.dynamics.step = Step::kFirstOrder;
  return IsOver(at.dynamics().time_step(), kernels::ChooseStep(run, peaks, packing)) ? 2 : 1;
}

void FillDynamics(v1::StudySpec* at) {
  v1::Dynamics& dynamics = *at->mutable_dynamics();
  const bool open_solver =
      !dynamics.has_brownian() && dynamics.overdamped().solver_case() == v1::Overdamped::SOLVER_NOT_SET;
  if (!open_solver && dynamics.has_time_step() && dynamics.has_step_order()) return;
  const kernels::Peaks peaks = PeaksOf(*at);
  if (open_solver) {
    v1::Overdamped& overdamped = *dynamics.mutable_overdamped();
    if (kernels::MayBeLagged(ToPhysics(*at), peaks)) {
      overdamped.mutable_lagged();
    } else {
      FillConverged(overdamped.mutable_converged());
    }
  }
  if (!dynamics.has_step_order()) dynamics.set_step_order(OpenOrder(*at, peaks));
  if (!dynamics.has_time_step()) dynamics.set_time_step(Fitted(StepByRule(*at, peaks), SampleInterval(*at)));
}

static std::string NotLaggedText(const kernels::Peaks& peaks) {
  const std::string why =
      peaks.temperature > kernels::kHottestLagged
          ? "at a temperature of " + Short(peaks.temperature) +
                " one sweep a step leaves out a thermal drift, and thermal averages are off whatever the step"
          : std::string("one sweep a step falls behind friction as strong as this");
  return why + "; leave the solver out, or give [dynamics.overdamped.converged]";
}

bool IsLaggedAgainstRule(const v1::StudySpec& at, const kernels::Peaks& peaks) {
  return at.dynamics().overdamped().has_lagged() && !kernels::MayBeLagged(ToPhysics(at), peaks);
}

std::string StepWarning(const v1::StudySpec& at, const kernels::Peaks& peaks, const kernels::Peaks& before) {
  if (IsLaggedAgainstRule(at, peaks) && !IsLaggedAgainstRule(at, before)) return NotLaggedText(peaks);
  const kernels::StepChoice rule = StepByRule(at, peaks);
  const double step = at.dynamics().time_step();
  if (!IsOver(step, rule) || !(rule.step < StepByRule(at, before).step)) return "";
  return "the run keeps its time step of " + Short(step) + " tau, but what it comes to now calls for " +
         Short(rule.step) + " tau at most, set by " + kernels::InWords(rule.limit) +
         "; a study that comes to this by its own schedule takes that";
}

static std::string SolverOf(const v1::Dynamics& dynamics) {
  if (dynamics.has_brownian()) return "brownian";
  return dynamics.overdamped().has_converged() ? "converged" : "lagged";
}

template <class Value, class Values>
static void AddOnce(const Value& value, Values* values) {
  if (std::find(values->begin(), values->end(), value) == values->end()) *values->Add() = value;
}

void TellTimeSteps(const v1::StudySpec& spec, const Stop& stop, v1::CheckStudyResponse* response) {
  v1::TimeSteps& steps = *response->mutable_time_steps();
  PointSetter setter(spec);
  steps.set_given(setter.gives_step());
  double worst = 0, allowed = 0;
  int64_t not_lagged = 0, over = 0, points = 0;
  kernels::Peaks hottest;
  kernels::StepLimit worst_limit = kernels::StepLimit::kLargest;
  for (const auto& point : Points(spec)) {
    if (stop.asked()) return;
    const v1::StudySpec& at = setter.At(point);
    const kernels::Peaks peaks = PeaksOf(at);
    const kernels::StepChoice rule = StepByRule(at, peaks);
    const double step = at.dynamics().time_step();
    steps.set_shortest(points == 0 ? step : std::min(steps.shortest(), step));
    steps.set_longest(std::max(steps.longest(), step));
    steps.set_shortest_by_rule(points == 0 ? rule.step : std::min(steps.shortest_by_rule(), rule.step));
    AddOnce(at.dynamics().step_order(), steps.mutable_orders());
    AddOnce(kernels::InWords(rule.limit), steps.mutable_limits());
    AddOnce(SolverOf(at.dynamics()), steps.mutable_solvers());
    ++points;
    if (IsLaggedAgainstRule(at, peaks)) {
      ++not_lagged;
      if (peaks.temperature >= hottest.temperature) hottest = peaks;
    }
    if (!IsOver(step, rule)) continue;
    ++over;
    if (step / rule.step <= worst) continue;
    worst = step / rule.step;
    allowed = rule.step;
    worst_limit = rule.limit;
  }
  const auto of_points = [&](int64_t count) {
    return points == 1 ? "" : " at " + std::to_string(count) + " of " + std::to_string(points) + " points";
  };
  if (not_lagged > 0) {
    response->add_warnings("dynamics.overdamped.lagged" + of_points(not_lagged) + ": " + NotLaggedText(hottest));
  }
  if (over == 0) return;
  response->add_warnings("dynamics.time_step" + of_points(over) + " is up to " + Short(worst) + " times the " +
                         Short(allowed) + " tau that the rule gives, set by " + kernels::InWords(worst_limit) +
                         "; leave it out, or compare with half of it");
}

}  // namespace gyrebox::study
