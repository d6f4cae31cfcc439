#include "answers/answers.h"

#include <algorithm>
#include <functional>
#include <map>
#include <optional>
#include <string>

#include "answers/answer_parts.h"
#include "answers/as_prepared.h"
#include "answers/snapshots.h"
#include "digest/measure_again.h"
#include "store/names.h"
#include "study/number_at.h"
#include "study/return_if_error.h"
#include "study/rules.h"

namespace gyrebox::analysis {

using Topic = v1::Answer;

constexpr int kMaxRunsNamed = 100;

absl::Status FillOptions(v1::AnalysisOptions* options) {
  std::string faults;
  const auto& reflection = *options->GetReflection();
  for (int i = 0; i < options->GetDescriptor()->field_count(); ++i) {
    const auto* field = options->GetDescriptor()->field(i);
    if (field->cpp_type() != google::protobuf::FieldDescriptor::CPPTYPE_DOUBLE) continue;
    if (!reflection.HasField(*options, field)) {
      study::SetNumber(options, *field, study::RuleOf(*field).default_value());
    } else if (const std::string fault = study::Fault(study::GetNumber(*options, *field), *field); !fault.empty()) {
      faults += (faults.empty() ? "" : "; ") + std::string("options.") + field->name() + ": " + fault;
    }
  }
  for (const auto& fault : FaultsOf(options->measure_again(), "options.measure_again")) {
    faults += (faults.empty() ? "" : "; ") + fault.field() + ": " + fault.description();
  }
  return faults.empty() ? absl::OkStatus() : absl::InvalidArgumentError(faults);
}

static const v1::MeasureAgain* AgainOf(const v1::AnalysisOptions& options) {
  return options.has_measure_again() ? &options.measure_again() : nullptr;
}

/// Why a run does not count; empty if it does.
static std::string ReasonOf(const RunDigest& run) {
  if (!run.left_out.empty()) return "excluded by " + run.left_out;
  switch (run.state) {
    case v1::Run::STATE_FINISHED:
      if (run.changed) return "adjusted by a user while it ran";
      if (run.identical) return "identical to another realization: one saved start, neither noise nor disorder";
      if (run.no_frames) return "keeps no frames to measure again";
      return run.counts() ? "" : "no sample on the plateau";
    case v1::Run::STATE_UNSTABLE:
      return "unstable";
    case v1::Run::STATE_FAILED:
      return "failed";
    case v1::Run::STATE_CANCELLED:
      return "cancelled";
    default:
      return "not finished yet";
  }
}

/// Groups runs that do not count by reason.
static void AddLeftOut(const StudyData& data, const std::vector<RunDigest>& runs, const std::string& of,
                       std::map<std::string, v1::LeftOut>* by_reason) {
  for (const RunDigest& run : runs) {
    if (ReasonOf(run).empty()) continue;
    const std::string reason = of + ReasonOf(run);
    v1::LeftOut& left_out = (*by_reason)[reason];
    left_out.set_reason(reason);
    left_out.set_count(left_out.count() + 1);
    if (left_out.runs_size() >= kMaxRunsNamed) continue;
    left_out.add_runs(data.study.name() + "/runs/" + std::to_string(run.number));
  }
}

static std::vector<v1::LeftOut> LeftOutOf(const StudyData& data) {
  std::map<std::string, v1::LeftOut> by_reason;
  for (const Point& point : data.points) {
    AddLeftOut(data, point.runs, "", &by_reason);
    AddLeftOut(data, point.audits, "time-step audit: ", &by_reason);
  }
  std::vector<v1::LeftOut> all;
  for (auto& [reason, left_out] : by_reason) all.push_back(std::move(left_out));
  return all;
}

/// A question, and whether it applies to the study.
struct Question {
  Topic::Topic topic;
  const char* title;
  std::string why_not;  ///< why it does not apply; empty if it does
  std::function<void(v1::Answer*)> answer;
};

constexpr char kOnlySteered[] =
    "the schedule of the study does not change the drive; users adjusted single runs, which are excluded: submit the "
    "course that they made as stages, or see the journals of these runs";

/// Whether users adjusted runs while they ran.
static bool WasSteered(const StudyData& data) {
  const auto changed = [](const RunDigest& run) { return run.changed; };
  return std::any_of(data.points.begin(), data.points.end(),
                     [&](const Point& point) { return std::any_of(point.runs.begin(), point.runs.end(), changed); });
}

/// Why ratios of sizes mean nothing; empty if all sizes are above 0.
static std::string NotPositive(const StudyData& data) {
  for (const Point& point : data.points) {
    for (const double size : Values(point, SizeOf)) {
      if (!(size > 0)) {
        return "sizes are compared as ratios, and " + data.observable.name() + " has the value " + Short(size) +
               "; choose an observable that is always above 0";
      }
    }
  }
  return "";
}

static std::string Unless(bool asked, const std::string& why_not, const std::string& otherwise = "") {
  return asked ? otherwise : why_not;
}

static std::vector<Question> QuestionsOf(const StudyData& data, const Plan& plan, const AsPrepared& samples) {
  const std::string not_positive = NotPositive(data);
  return {
      {Topic::TOPIC_MAP, "How large do the domains grow, and where?",
       Unless(plan.map(),
              plan.memory_axis ? "the axis varies a stage before the last: see the imprint of the middle stage"
                               : "the study has no axis",
              not_positive),
       [&](v1::Answer* answer) { AnswerMap(data, plan, answer); }},
      {Topic::TOPIC_SWITCHING, "Does the size follow the drive, and how fast?",
       Unless(plan.stages, WasSteered(data) ? kOnlySteered : "the drive does not change during a run", not_positive),
       [&](v1::Answer* answer) { AnswerSwitching(data, samples, answer); }},
      {Topic::TOPIC_MEMORY, "What imprint does a middle stage leave?",
       Unless(plan.memory_axis.has_value(), "no axis varies the amplitude of a stage before an unchanged last stage",
              not_positive),
       [&](v1::Answer* answer) { AnswerMemory(data, plan, samples, answer); }},
      {Topic::TOPIC_LOOP, "Is there hysteresis between up and down sweeps?",
       Unless(plan.up_and_down, "the amplitude does not rise and then fall during a run"),
       [&](v1::Answer* answer) { AnswerLoop(data, samples, answer); }},
      {Topic::TOPIC_ROBUSTNESS, "How sensitive are size and polydispersity to imperfections?",
       Unless(!plan.nuisance_axes.empty() || data.spec().trials().count() > 1,
              "the study varies no spread, jitter, temperature, initial state, bed size or time step, and has one "
              "realization"),
       [&](v1::Answer* answer) { AnswerRobustness(data, plan, answer); }},
      {Topic::TOPIC_AUDIT, "Do the sizes depend on the time step?",
       Unless(std::any_of(data.points.begin(), data.points.end(), [](const Point& one) { return !one.audits.empty(); }),
              "no run was repeated with half the time step; see audit.max_cost"),
       [&](v1::Answer* answer) { AnswerAudit(data, plan, answer); }},
      {Topic::TOPIC_SHAPE, "Which shapes occur, and how far apart are the domains?", "",
       [&](v1::Answer* answer) { AnswerShape(data, answer); }},
      {Topic::TOPIC_UNIFORMITY, "How does polydispersity depend on mean size?", "",
       [&](v1::Answer* answer) { AnswerPolydispersity(data, answer); }},
      {Topic::TOPIC_PLATEAUS, "Are the runs stationary?", "",
       [&](v1::Answer* answer) { AnswerPlateaus(data, answer); }},
  };
}

/// Caution on numbers that were measured again from kept frames.
static std::string CautionOfMeasuringAgain(const StudyData& data) {
  const v1::MeasureAgain& again = data.options.measure_again();
  std::string how;
  if (again.has_bond_length()) how += " with a cluster cutoff of " + Short(again.bond_length()) + " sigma";
  if (again.has_first_wave_shell() || again.has_last_wave_shell()) {
    how += std::string(how.empty() ? "" : ",") + " with the peak of the structure factor sought in shells " +
           std::to_string(std::max(1, again.first_wave_shell())) + " to " +
           (again.has_last_wave_shell() ? std::to_string(again.last_wave_shell()) : "that of 2 sigma");
  }
  return "All values were measured again on the kept frames" + how + ": about one every " +
         Short(data.spec().measure().frame_interval()) +
         " tau. Faster changes are not resolved; displacements, powers and the health of steps are missing.";
}

static v1::Answer AnswerTo(const Question& question, const StudyData& data, const std::vector<v1::LeftOut>& left_out) {
  v1::Answer answer;
  answer.set_topic(question.topic);
  answer.set_title(question.title);
  answer.set_why_not(question.why_not);
  if (!question.why_not.empty()) return answer;
  question.answer(&answer);
  answer.mutable_left_out()->Assign(left_out.begin(), left_out.end());
  if (answer.summary().empty() && answer.why_not().empty()) {
    answer.set_why_not("no ended run has the required data");
  }
  if (data.options.has_measure_again() && answer.why_not().empty()) answer.add_cautions(CautionOfMeasuringAgain(data));
  return answer;
}

/// Control study: same bed and drive, no earlier stages. None if the options name none.
static absl::StatusOr<std::optional<StudyData>> ReadFresh(store::Store& store, const v1::AnalysisOptions& options,
                                                          DigestCache* cache, const study::Stop& stop) {
  if (options.fresh_study().empty()) return std::nullopt;
  const auto id = store::ParseStudyName(options.fresh_study());
  if (!id.ok()) return id.status();
  auto data = ReadStudy(store, *id, options.observable(), Depth::kWhole, cache, AgainOf(options), stop);
  if (!data.ok()) return data.status();
  return *std::move(data);
}

absl::StatusOr<v1::Answers> Analyse(store::Store& store, int64_t study_id, const v1::AnalysisOptions& options,
                                    DigestCache* cache, const study::Stop& stop) {
  auto data = ReadStudy(store, study_id, options.observable(), Depth::kWhole, cache, AgainOf(options), stop);
  if (!data.ok()) return data.status();
  data->options = options;
  data->options.set_observable(data->observable.name());
  const auto fresh = ReadFresh(store, data->options, cache, stop);
  if (!fresh.ok()) return fresh.status();
  const Plan plan = PlanOf(*data);
  v1::Answers answers;
  answers.set_study(data->study.name());
  answers.set_title(data->spec().title());
  answers.set_state(data->study.state());
  *answers.mutable_run_counts() = data->study.run_counts();
  *answers.mutable_observable() = data->observable;
  answers.mutable_axes()->Assign(data->axes.begin(), data->axes.end());
  *answers.mutable_options() = data->options;
  const auto left_out = LeftOutOf(*data);
  std::vector<v1::Answer> unanswered;
  const AsPrepared samples(*data, fresh->has_value() ? &**fresh : nullptr);
  for (const Question& question : QuestionsOf(*data, plan, samples)) {
    if (stop.asked()) return study::Stopped();
    v1::Answer answer = AnswerTo(question, *data, left_out);
    if (answer.why_not().empty()) {
      *answers.add_answers() = std::move(answer);
    } else {
      unanswered.push_back(std::move(answer));
    }
  }
  for (v1::Answer& answer : unanswered) *answers.add_answers() = std::move(answer);
  AddStages(*data, &answers);
  GYREBOX_RETURN_IF_ERROR(AddSnapshots(store, *data, plan, &answers));
  GYREBOX_RETURN_IF_ERROR(AddBeds(store, *data, &answers));
  return answers;
}

}  // namespace gyrebox::analysis
