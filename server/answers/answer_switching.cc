// Does the size follow the stages, how fast, and does it reach that of an as-prepared sample?
#include <algorithm>
#include <cmath>
#include <map>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/response.h"

namespace gyrebox::analysis {

constexpr Kind kRise = {"rise_time", "Response time of a size that grows after a switch, from the switch on.",
                        "Area between the series and its new plateau, over the step: the time constant of an "
                        "exponential approach. Mean over "
                        "realizations, Student's t interval.",
                        "definition", 0.95};
constexpr Kind kFall = {"fall_time", "Response time of a size that shrinks after a switch, from the switch on.",
                        kRise.method, kRise.reference, 0.95};
constexpr Kind kStep = {"size_step", "New plateau minus old one at a switch.",
                        "Mean over realizations of the difference within each bed, Student's t interval of pairs.",
                        kStudent, 0.95};
constexpr Kind kFresh = {"against_fresh",
                         "Plateau after a switch minus that of an as-prepared sample under the same drive; equal if "
                         "the interval lies within "
                         "equal_fraction of the latter, up and down.",
                         "90 % Welch interval.", kWelchEqual, 0.90};
constexpr Kind kGrow = {
    "change_to_grow", "Ratio of amplitudes, new over old, at which the size grows by change_factor.",
    "Linear interpolation in logarithms between the switches of all points; low and high are the switches on either "
    "side.",
    "definition", 0};
constexpr Kind kShrink = {"change_to_shrink",
                          "Ratio of amplitudes, new over old, at which the size shrinks by change_factor.",
                          kGrow.method, "definition", 0};

/// Max points whose courses are written.
constexpr size_t kMaxCourses = 50;

/// Plateaus of as-prepared samples, by bed and drive: those of first stages, one value per realization.
using FreshBeds = std::map<std::string, std::vector<double>>;

static void AddFresh(const StudyData& data, FreshBeds* fresh) {
  for (const Point& point : data.points) {
    if (point.stages.front().ramps || point.counts().unstable * 2 > static_cast<int>(point.runs.size())) continue;
    const auto values = Values(point, [](const RunDigest& run) { return run.stages.front().mean; });
    auto& known = (*fresh)[point.stages.front().bed_and_drive];
    // Points that differ only in later stages start as the same beds; one of them suffices.
    if (values.size() > known.size()) known = values;
  }
}

/// One switch of one point, over its realizations.
struct Followed {
  const Point* point = nullptr;
  Switch change;
  size_t number = 0;  ///< index among the switches of the point
  std::vector<double> before = {}, after = {}, responses = {};

  const Stage& from() const { return point->stages[change.from]; }
  const Stage& to() const { return point->stages[change.to]; }
  std::string label() const {
    const bool ramp = change.to > change.from + 1;
    return "stage " + std::to_string(change.from + 1) + " to " + std::to_string(change.to + 1) + " (" + from().label +
           " to " + to().label + (ramp ? ", by a ramp" : "") + ")";
  }
  /// Whether the size changed significantly.
  bool moves() const {
    const Difference step = PairedDifference(after, before);
    return std::abs(step.value) > step.HalfWidth(0.95);
  }
  /// Whether it then approaches its new plateau, rather than still relaxing from before the switch.
  bool approaches() const { return moves() && Summarise(responses).mean > 0; }
};

static std::vector<Followed> FollowedOf(const StudyData& data) {
  std::vector<Followed> all;
  for (const Point& point : data.points) {
    const auto switches = SwitchesOf(point.stages);
    for (size_t k = 0; k < switches.size(); ++k) {
      Followed followed{.point = &point, .change = switches[k], .number = k};
      followed.before = Values(point, [&](const RunDigest& run) { return run.stages[switches[k].from].mean; });
      followed.after = Values(point, [&](const RunDigest& run) { return run.stages[switches[k].to].mean; });
      followed.responses = Values(point, [&](const RunDigest& run) { return run.responses[k]; });
      if (!followed.after.empty()) all.push_back(std::move(followed));
    }
  }
  return all;
}

static std::string WordOf(Verdict verdict) {
  return verdict == Verdict::kEqual ? "equal" : verdict == Verdict::kDifferent ? "different" : "not resolved";
}

/// Adds the comparison with an as-prepared sample, if there is one. @return its outcome.
static std::string WriteAgainstFresh(const StudyData& data, const Followed& followed, const FreshBeds& fresh,
                                     const Holder& holder, v1::Answer* answer) {
  const auto found = fresh.find(followed.to().bed_and_drive);
  if (found == fresh.end() || found->second.empty()) return "none under this drive";
  const Difference difference = WelchDifference(followed.after, found->second);
  const double margin = data.options.equal_fraction() * std::abs(Summarise(found->second).mean);
  const std::string word = WordOf(Judge(difference, margin));
  AddValue(kFresh, holder, difference.value, difference.HalfWidth(0.90), answer)->set_note(word);
  return word;
}

static void WriteResponse(const Followed& followed, Holder holder, v1::Answer* answer) {
  const bool up = Summarise(followed.after).mean > Summarise(followed.before).mean;
  holder.unit = "tau";
  if (followed.approaches()) {
    AddMean(up ? kRise : kFall, holder, followed.responses, answer);
    return;
  }
  AddEstimate(up ? kRise : kFall, holder,
              {.note = followed.moves() ? "the size was still relaxing from before the switch"
                                        : "no significant change of size"},
              answer);
}

static void WriteSwitches(const StudyData& data, const std::vector<Followed>& all, const FreshBeds& fresh,
                          v1::Answer* answer) {
  PlotWriter plot("switches", "Size before and after each switch", answer);
  const std::string& unit = data.observable.unit();
  using Role = v1::PlotColumn;
  AxisColumns(data, -1, &plot);
  plot.Column("switch", "", Role::ROLE_X, "Index of the switch in a run, from 1.")
      .Column("old_amplitude", "", Role::ROLE_UNSPECIFIED, "Amplitude of the drive before it.")
      .Column("new_amplitude", "", Role::ROLE_UNSPECIFIED, "Amplitude of the drive after it.")
      .MeanColumns("old_size", unit, "Size on the plateau before it.")
      .MeanColumns("new_size", unit, "Size on the plateau after it.")
      .MeanColumns("response_time", "tau", kRise.definition);
  for (const Followed& followed : all) {
    const Difference step = PairedDifference(followed.after, followed.before);
    Holder holder{.unit = unit,
                  .at = SettingsOf(data, *followed.point),
                  .label = followed.label(),
                  .trials = followed.after.size()};
    AddValue(kStep, holder, step.value, step.HalfWidth(0.95), answer);
    WriteResponse(followed, holder, answer);
    const std::string word = WriteAgainstFresh(data, followed, fresh, holder, answer);
    std::vector<double> row = followed.point->axis_values;
    row.insert(row.end(),
               {static_cast<double>(followed.number + 1), followed.from().amplitude, followed.to().amplitude});
    const std::vector<double> responses = followed.approaches() ? followed.responses : std::vector<double>();
    for (const auto& values : {followed.before, followed.after, responses}) AppendMean(values, &row);
    plot.Row(row, followed.label() + "; against an as-prepared sample: " + word, MarkOf(followed.point->counts()));
  }
}

/// Size against time, mean over realizations.
static void WriteCourses(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("courses", "Size against time", answer);
  AxisColumns(data, -1, &plot);
  plot.Column("time", "tau", v1::PlotColumn::ROLE_X, "Centre of one of 200 equal time bins.")
      .MeanColumns("size", data.observable.unit(), "Mean size in that bin.");
  size_t written = 0;
  for (const Point& point : data.points) {
    for (size_t k = 0; k < kCourseBins && written < kMaxCourses; ++k) {
      const auto values =
          Values(point, [&](const RunDigest& run) { return run.course.empty() ? kNone : run.course[k]; });
      if (values.empty()) continue;
      std::vector<double> row = point.axis_values;
      row.push_back((static_cast<double>(k) + 0.5) / kCourseBins * point.stages.back().end);
      AppendMean(values, &row);
      size_t stage = 0;
      while (stage + 1 < point.stages.size() && row[point.axis_values.size()] >= point.stages[stage].end) ++stage;
      plot.Row(row, point.stages[stage].label, {});
    }
    ++written;
  }
  if (data.points.size() > kMaxCourses) {
    answer->add_cautions("The plot of courses shows only the first " + std::to_string(kMaxCourses) + " points.");
  }
}

static void WriteChanges(const StudyData& data, const std::vector<Followed>& all, v1::Answer* answer) {
  std::vector<Change> changes;
  for (const Followed& followed : all) {
    const double from = followed.from().amplitude, to = followed.to().amplitude;
    const double before = Summarise(followed.before).mean, after = Summarise(followed.after).mean;
    if (from * to > 0 && before > 0 && after > 0) changes.push_back({to / from, after / before});
  }
  const double factor = data.options.change_factor();
  AddEstimate(kGrow, {}, ChangeNeeded(changes, factor), answer);
  AddEstimate(kShrink, {}, ChangeNeeded(changes, 1 / factor), answer);
}

/// "In 6 of 10 switches the size moved with the drive, in 2 against it, in 2 unresolved."
static std::string MovesText(const std::vector<Followed>& all) {
  size_t with = 0, against = 0, other = 0, unresolved = 0;
  for (const Followed& one : all) {
    const double drive = std::abs(one.to().amplitude) - std::abs(one.from().amplitude);
    const double size = PairedDifference(one.after, one.before).value;
    ++(!one.moves() ? unresolved : drive == 0 ? other : drive * size > 0 ? with : against);
  }
  std::string text =
      "In " + std::to_string(with) + " of " + std::to_string(all.size()) + " switches the size moved with the drive";
  if (against > 0) text += ", in " + std::to_string(against) + " against it";
  if (other > 0) text += ", in " + std::to_string(other) + " at the same amplitude";
  if (unresolved > 0) text += ", in " + std::to_string(unresolved) + " unresolved";
  return text + ".";
}

void AnswerSwitching(const StudyData& data, const StudyData* fresh_data, v1::Answer* answer) {
  const auto all = FollowedOf(data);
  if (all.empty()) return;
  FreshBeds fresh;
  AddFresh(data, &fresh);
  if (fresh_data != nullptr) AddFresh(*fresh_data, &fresh);
  WriteChanges(data, all, answer);
  WriteSwitches(data, all, fresh, answer);
  WriteCourses(data, answer);
  answer->set_summary(MovesText(all));
  const auto has_fresh = [&](const Followed& one) { return fresh.contains(one.to().bed_and_drive); };
  if (!std::all_of(all.begin(), all.end(), has_fresh)) {
    answer->add_cautions(
        "Some switches have no as-prepared sample under the same drive to compare with. Name a study that has one as "
        "fresh_study.");
  }
  if (data.spec().trials().count() < 2) answer->add_cautions("With one realization no difference can be tested.");
}

}  // namespace gyrebox::analysis
