#include "digest/step_audit.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "estimators/step_change.h"
#include "schema/number_text.h"
#include "study/expand.h"
#include "study/time_step.h"

namespace gyrebox::analysis {

namespace {

/// One compared size.
struct Compared {
  std::string observable;
  NumberOf number;
  std::vector<StepSizes> points;  ///< by point index; empty lists if a point is not audited
  LogSpread pooled = {};
};

}  // namespace

static double NumberAverageOf(const RunDigest& run) { return run.number_average; }
static double WeightAverageOf(const RunDigest& run) { return run.weight_average; }

/// Values of runs that count; empty if any is not above 0, since it has no logarithm.
static std::vector<double> PositiveValues(const std::vector<RunDigest>& runs, const NumberOf& number) {
  std::vector<double> values = Values(runs, number);
  if (std::any_of(values.begin(), values.end(), [](double value) { return !(value > 0); })) values.clear();
  return values;
}

static StepSizes SizesOf(const Point& point, const NumberOf& number) {
  if (point.audits.empty()) return {};
  StepSizes sizes{PositiveValues(point.runs, number), PositiveValues(point.audits, number)};
  return sizes.at_step.empty() || sizes.at_half.empty() ? StepSizes() : sizes;
}

/// The requested size and the two averages over clusters: where single spinners leave a few large domains, the
/// number-average moves and the weight-average does not.
static std::vector<Compared> ComparedIn(const StudyData& data) {
  std::vector<Compared> all = {{data.observable.name(), SizeOf, {}}};
  for (const auto& [name, number] :
       {std::pair<const char*, double (*)(const RunDigest&)>(kNumberAverage, NumberAverageOf),
        {kWeightAverage, WeightAverageOf}}) {
    if (data.observable.name() != name) all.push_back({name, number, {}});
  }
  for (Compared& one : all) {
    for (const Point& point : data.points) one.points.push_back(SizesOf(point, one.number));
    one.pooled = PoolLogSpread(one.points);
  }
  return all;
}

static std::string CountText(int64_t count, size_t all, const char* what) {
  return std::to_string(count) + " of " + std::to_string(all) + " runs " + what;
}

/// Runs of a point that became unstable or do not count. Instability with the step but not with half of it is a fault
/// of the step.
static std::string NoteOf(const Point& point) {
  const auto count = [](const std::vector<RunDigest>& runs, const auto& is) {
    return std::count_if(runs.begin(), runs.end(), is);
  };
  const auto unstable = [](const RunDigest& run) { return run.state == v1::Run::STATE_UNSTABLE; };
  const auto tells = [](const RunDigest& run) { return run.counts() && run.left_out.empty(); };
  const auto of_step = count(point.runs, unstable), of_half = count(point.audits, unstable);
  std::string note;
  if (of_step + of_half > 0) {
    note = CountText(of_step, point.runs.size(), "with the step") + " and " +
           CountText(of_half, point.audits.size(), "with half of it") + " became unstable";
  }
  const auto silent = static_cast<int64_t>(point.audits.size()) - count(point.audits, tells) - of_half;
  if (silent == 0) return note;
  return note + (note.empty() ? "" : "; ") +
         CountText(silent, point.audits.size(), "with half the step are unfinished, failed or excluded");
}

/// Note on the solver of the audit, if it differs in more than half the step.
static std::string SolverNote(const StudyData& data, const Point& point) {
  const v1::StudySpec at = study::AtPoint(data.spec(), point.axis_values);
  return study::IsLaggedAgainstRule(at, study::PeaksOf(at)) ? "compared with the converged solver at half the step"
                                                            : "";
}

static void Judge(const std::vector<Compared>& all, size_t index, const StudyData& data, Point* point) {
  v1::StepAudit& audit = point->audit;
  audit.set_verdict(v1::StepAudit::VERDICT_NOT_AUDITED);
  if (point->audits.empty()) return;
  const std::string solver = SolverNote(data, *point), runs = NoteOf(*point);
  audit.set_note(solver + (solver.empty() || runs.empty() ? "" : "; ") + runs);
  const auto there = [&](const Compared& one) { return !one.points[index].at_half.empty(); };
  const auto compared = static_cast<int>(std::count_if(all.begin(), all.end(), there));
  for (const Compared& one : all) {
    const auto change = CompareSteps(one.points[index], one.pooled, std::max(1, compared));
    if (!change) continue;
    v1::StepChange& told = *audit.add_changes();
    told.set_observable(one.observable);
    told.set_change(change->change);
    told.set_low(change->low);
    told.set_high(change->high);
    told.set_moves(change->moves);
    audit.set_run_count(std::max(audit.run_count(), static_cast<int32_t>(one.points[index].at_half.size())));
  }
  if (audit.changes().empty()) return;
  const bool moves =
      std::any_of(audit.changes().begin(), audit.changes().end(), [](const auto& one) { return one.moves(); });
  audit.set_verdict(moves ? v1::StepAudit::VERDICT_MOVES : v1::StepAudit::VERDICT_HOLDS);
}

void JudgeAudits(StudyData* data) {
  const auto all = ComparedIn(*data);
  for (size_t i = 0; i < data->points.size(); ++i) Judge(all, i, *data, &data->points[i]);
}

static std::string PercentText(double change) {
  return (change < 0 ? "-" : "+") + schema::NumberText(std::abs(100 * change), 4) + " %";
}

std::string ChangeText(const v1::StepChange& change) {
  return PercentText(change.change()) + " (" + PercentText(change.low()) + " to " + PercentText(change.high()) + ")";
}

std::string ChangesText(const v1::StepAudit& audit) {
  std::string text;
  for (const v1::StepChange& change : audit.changes()) {
    if (audit.verdict() == v1::StepAudit::VERDICT_MOVES && !change.moves()) continue;
    text += (text.empty() ? "" : "; ") + change.observable() + " " + ChangeText(change);
  }
  return text;
}

}  // namespace gyrebox::analysis
