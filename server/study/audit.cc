#include "study/audit.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

#include "schema/number_text.h"
#include "study/expand.h"
#include "study/point_setter.h"
#include "study/round_off.h"
#include "study/run_spec.h"
#include "study/schedule.h"
#include "study/time_step.h"
#include "study/validation/check_size.h"

namespace gyrebox::study {

constexpr double kMapCost = 0.15;
/// A study is a map if a drive axis has at least this many values; with fewer it compares individual drives.
constexpr int kLeastMapValues = 5;
constexpr int kMaxAuditedTrials = 4;
constexpr int kLeastTrials = 2;
/// Close packing of discs, pi / sqrt(12).
constexpr double kClosePacking = 0.9069;
/// Lower bound on the free fraction of the area: even a jammed or soft bed yields this much.
constexpr double kLeastRoom = 0.01;
/// Work of a converged step with noise relative to a lagged one, as measured on a GPU.
constexpr double kConvergedWork = 10;

double DefaultAuditCost(const v1::StudySpec& spec) {
  const bool is_map = std::any_of(spec.axes().begin(), spec.axes().end(), [](const v1::Axis& axis) {
    const std::string& field = axis.field();
    const bool is_drive =
        field.starts_with("drive.") && (field.ends_with(".amplitude") || field.ends_with(".frequency"));
    return is_drive && CountValues(axis) >= kLeastMapValues;
  });
  return is_map ? kMapCost : 0;
}

namespace {

/// What decides which points are audited, by index of the point.
struct Candidates {
  std::vector<double> risks;
  std::vector<double> works;        ///< of one run
  std::vector<double> audit_works;  ///< of the same run in an audit
};

}  // namespace

double StepRisk(const v1::StudySpec& at) {
  const kernels::Peaks peaks = PeaksOf(at);
  if (IsLaggedAgainstRule(at, peaks)) return std::numeric_limits<double>::infinity();
  const double peak = peaks.rate, room = std::max(kLeastRoom, 1 - PackingFraction(at.bed()) / kClosePacking);
  return peak * peak * StepOf(at) * room;
}

/// Bead-steps of one run.
static double WorkOf(const v1::StudySpec& at) {
  return static_cast<double>(at.bed().bead_count()) * static_cast<double>(StepsOf(at));
}

/// Work of an audit run relative to the original run: half the step takes twice the steps, and a point of infinite risk
/// is run with the converged solver.
static double AuditFactor(double risk) { return std::isinf(risk) ? 2 * kConvergedWork : 2; }

static Candidates CandidatesOf(const v1::StudySpec& spec, const Stop& stop) {
  Candidates candidates;
  PointSetter setter(spec);
  for (const auto& point : Points(spec)) {
    if (stop.asked()) break;
    const v1::StudySpec& at = setter.At(point);
    const double risk = StepRisk(at), work = WorkOf(at);
    candidates.risks.push_back(risk);
    candidates.works.push_back(work);
    candidates.audit_works.push_back(work * AuditFactor(risk));
  }
  return candidates;
}

static std::vector<size_t> InOrder(const Candidates& candidates, const std::set<size_t>& first) {
  std::vector<size_t> order(candidates.risks.size());
  std::iota(order.begin(), order.end(), size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](size_t a, size_t b) {
    const bool a_first = first.contains(a), b_first = first.contains(b);
    return a_first != b_first ? a_first : candidates.risks[a] > candidates.risks[b];
  });
  return order;
}

/// Why a study cannot be audited at any cost; empty if it can.
static std::string WhyNever(const v1::Trials& trials) {
  if (trials.count() < kLeastTrials) return "one trial does not tell the spread over starts; give trials.count = 2";
  if (trials.vary_positions() || trials.vary_noise() || trials.vary_disorder()) return "";
  return "the trials differ in nothing, which does not tell the spread over starts";
}

static std::string TooDearText(double cost, double max_cost) {
  return "one point takes " + schema::NumberText(100 * cost, 3) +
         " % of the work of the study; audit.max_cost allows " + schema::NumberText(100 * max_cost, 3) + " %";
}

/// Remaining budget of an audit.
struct Budget {
  double work = 0, runs = 0, points = 0;

  bool Allows(double point_work, int point_runs) const {
    return work >= point_work && runs >= point_runs && points >= 1;
  }
  void Take(double point_work, int point_runs) {
    work -= point_work;
    runs -= point_runs;
    points -= 1;
  }
};

static Budget BudgetOf(const v1::Audit& audit, double all_work, double all_runs) {
  return {.work = all_work * audit.max_cost() * (1 + kRoundOff),
          .runs = kMaxRuns - all_runs,
          .points = audit.has_max_points() ? audit.max_points() : kMaxRuns};
}

/// Points that fit the budget, in the given order; points that are already audited are always included.
static std::vector<size_t> PointsThatFit(const std::vector<size_t>& order, const Candidates& candidates,
                                         const std::set<size_t>& audited, int trials, Budget budget) {
  std::vector<size_t> points;
  for (const size_t index : order) {
    const double work = trials * candidates.audit_works[index];
    if (!audited.contains(index) && (!(candidates.risks[index] > 0) || !budget.Allows(work, trials))) continue;
    budget.Take(work, trials);
    points.push_back(index);
  }
  return points;
}

AuditPlan PlanAudit(const v1::StudySpec& spec, const std::set<size_t>& audited, const Stop& stop) {
  AuditPlan plan;
  const double max_cost = spec.audit().max_cost();
  if (!(max_cost > 0)) return plan;
  plan.why_none = WhyNever(spec.trials());
  if (!plan.why_none.empty()) return plan;
  const Candidates candidates = CandidatesOf(spec, stop);
  const auto& [risks, works, audit_works] = candidates;
  const std::vector<size_t> order = InOrder(candidates, audited);
  const double trials = spec.trials().count(), all_work = trials * std::accumulate(works.begin(), works.end(), 0.0);
  const Budget budget = BudgetOf(spec.audit(), all_work, trials * static_cast<double>(works.size()));
  double audited_work = 0;
  for (const size_t index : audited) audited_work += audit_works[index];
  // Prefer fewer realizations to skipping the point with the highest risk.
  for (plan.trials = std::min(spec.trials().count(), kMaxAuditedTrials);; --plan.trials) {
    plan.points = PointsThatFit(order, candidates, audited, plan.trials, budget);
    const bool fits =
        !plan.points.empty() && plan.points.front() == order.front() && plan.trials * audited_work <= budget.work;
    if (fits || plan.trials == kLeastTrials) break;
  }
  plan.why_none.clear();
  for (const size_t index : plan.points) plan.cost += plan.trials * audit_works[index] / all_work;
  if (!plan.points.empty()) return plan;
  double cheapest = std::numeric_limits<double>::infinity();
  for (size_t index = 0; index < works.size(); ++index) {
    if (risks[index] > 0) cheapest = std::min(cheapest, kLeastTrials * audit_works[index]);
  }
  plan.why_none = std::isinf(cheapest) ? "no point is driven" : TooDearText(cheapest / all_work, max_cost);
  return plan;
}

}  // namespace gyrebox::study
