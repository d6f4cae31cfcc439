// Does the size follow the stages, how fast, and does it reach that of an as-prepared sample?
#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "answers/answer_parts.h"
#include "answers/as_prepared.h"
#include "answers/sources.h"
#include "estimators/plateau.h"
#include "estimators/response.h"

namespace gyrebox::analysis {

constexpr Kind kRise = {"rise_time", "Relaxation time of a size that grows after a switch, from the switch on.",
                        "Area between the series and its new plateau, over the step: the time constant of an "
                        "exponential approach. Mean over realizations, Student's t interval.",
                        "definition", 0.95};
constexpr Kind kFall = {"fall_time", "Relaxation time of a size that shrinks after a switch, from the switch on.",
                        kRise.method, kRise.reference, 0.95};
constexpr Kind kStep = {"size_ratio", "New plateau over old one at a switch.",
                        "Geometric mean over realizations of the ratio within each bed, Student's t interval of its "
                        "logarithm with variances moderated over the switches.",
                        kModerated, 0.95};
constexpr Kind kNet = {
    "size_ratio_net",
    "New plateau over old one at a switch, less ageing: over the same ratio of an unswitched control "
    "of equal age.",
    "Difference of the two means of logarithms; Student's t interval by Welch and Satterthwaite.", kWelch, 0.95};
constexpr Kind kFresh = {"against_as_prepared",
                         "Plateau after a switch over the size of an as-prepared sample under the same drive; equal if "
                         "the interval lies within 1 plus equal_fraction, up and down.",
                         "90 % interval of the mean difference of logarithms.", kEquivalence, 0.90};
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
/// How a size moved at a switch.
enum class Move { kUnresolved, kWith, kAgainst, kSameAmplitude, kNotSeparable };

/// One switch of one point, over its realizations.
struct Followed {
  const Point* point = nullptr;
  Switch change;
  size_t number = 0;  ///< index among the switches of the point
  CurvePoint before = {}, after = {};
  std::vector<double> responses = {};
  Sample ratios = {};                       ///< logarithms of new over old plateau, of each bed
  LogMean step = {};                        ///< their mean
  std::optional<LogMean> net = {};          ///< less that of an unswitched control
  std::optional<LogMean> as_prepared = {};  ///< logarithm of the new plateau over an as-prepared sample
  std::string as_prepared_note = "none under this drive";
  bool resolved = false;

  const Stage& from() const { return point->stages[change.from]; }
  const Stage& to() const { return point->stages[change.to]; }
  std::string label() const {
    const bool ramp = change.to > change.from + 1;
    return "stage " + std::to_string(change.from + 1) + " to " + std::to_string(change.to + 1) + " (" + from().label +
           " to " + to().label + (ramp ? ", by a ramp" : "") + ")";
  }
  /// The change that is claimed: less ageing where there is a control.
  const LogMean& claimed() const { return net ? *net : step; }
  double drive_change() const { return std::abs(to().amplitude) - std::abs(from().amplitude); }
  Move move() const {
    if (!resolved) return Move::kUnresolved;
    if (!net) return Move::kNotSeparable;
    if (drive_change() == 0) return Move::kSameAmplitude;
    return drive_change() * claimed().mean > 0 ? Move::kWith : Move::kAgainst;
  }
  /// Whether it then approaches its new plateau, rather than still relaxing from before the switch.
  bool approaches() const { return resolved && Summarise(responses).mean > 0; }
};

/// Time window of the plateau of a stage.
static std::pair<double, double> PlateauOf(const StudyData& data, const Stage& stage) {
  const double length = stage.end - stage.begin;
  return {stage.begin + PlateauStart(length, data.spec().measure().plateau_fraction()), stage.end};
}

/// Mean logarithm of a sample over another; of pairs where they share starts.
static LogMean RatioOf(const Sample& first, const Sample& second) {
  return DifferencesFrom(std::vector{first}, second).front();
}

/// Sets the change less that of a bed that stayed under the old drive, if there is one of equal age.
static void SetNet(const StudyData& data, const AsPrepared& samples, Followed* followed) {
  const AsPreparedSample* control = samples.Under(followed->from().bed_and_drive);
  const auto [old_begin, old_end] = PlateauOf(data, followed->from());
  const auto [new_begin, new_end] = PlateauOf(data, followed->to());
  if (control == nullptr || !control->Reaches(new_end)) return;
  const Sample ratios =
      PairedDifferences(LogsOf(control->Between(new_begin, new_end)), LogsOf(control->Between(old_begin, old_end)));
  if (ratios.values.size() >= 2) followed->net = RatioOf(followed->ratios, ratios);
}

static std::string WordOf(const LogMean& ratio, double margin) {
  if (std::abs(ratio.mean) + ratio.HalfWidth(0.90) <= margin) return "equal";
  return std::abs(ratio.mean) > ratio.HalfWidth(0.95) ? "different" : "not resolved";
}

static void SetAsPrepared(const StudyData& data, const AsPrepared& samples, Followed* followed) {
  const AsPreparedSample* sample = samples.Under(followed->to().bed_and_drive);
  if (sample == nullptr) return;
  const auto [begin, end] = PlateauOf(data, followed->to());
  const bool equal_age = sample->Reaches(end);
  const CurvePoint values = equal_age ? sample->Between(begin, end) : sample->Values(AveragesOf(data).front());
  if (values.trials.empty()) return;
  followed->as_prepared = RatioOf(LogsOf(followed->after), LogsOf(values));
  followed->as_prepared_note =
      WordOf(*followed->as_prepared, std::log1p(data.options.equal_fraction())) +
      (equal_age ? "" : ", of another age: " + Short(sample->age) + " against " + Short(end) + " tau");
}

static std::vector<Followed> FollowedOf(const StudyData& data, const Average& average) {
  std::vector<Followed> all;
  for (const Point& point : data.points) {
    const auto switches = SwitchesOf(point.stages);
    for (size_t k = 0; k < switches.size(); ++k) {
      Followed followed{.point = &point, .change = switches[k], .number = k};
      followed.before = CurvePointOf(point, 0, [&](const RunDigest& run) { return average.At(run, switches[k].from); });
      followed.after = CurvePointOf(point, 0, [&](const RunDigest& run) { return average.At(run, switches[k].to); });
      followed.responses = Values(point, [&](const RunDigest& run) { return run.responses[k]; });
      followed.ratios = PairedDifferences(LogsOf(followed.after), LogsOf(followed.before));
      if (!followed.after.trials.empty()) all.push_back(std::move(followed));
    }
  }
  std::vector<Sample> ratios;
  for (const Followed& followed : all) ratios.push_back(followed.ratios);
  const auto steps = MeansOf(ratios);
  for (size_t i = 0; i < all.size(); ++i) all[i].step = steps[i];
  return all;
}

/// Which changes are resolved, by Holm's procedure over all switches.
static void Resolve(std::vector<Followed>* all) {
  std::vector<double> p_values;
  for (const Followed& followed : *all) p_values.push_back(followed.claimed().PValue());
  const auto rejected = HolmRejects(p_values, 0.05);
  for (size_t i = 0; i < all->size(); ++i) (*all)[i].resolved = rejected[i];
}

static void WriteResponse(const Followed& followed, Holder holder, v1::Answer* answer) {
  const bool up = followed.claimed().mean > 0;
  holder.unit = "tau";
  if (followed.approaches()) {
    AddMean(up ? kRise : kFall, holder, followed.responses, answer);
    return;
  }
  AddEstimate(up ? kRise : kFall, holder,
              {.note = followed.resolved ? "the size was still relaxing from before the switch"
                                         : "no significant change of size"},
              answer);
}

static Holder HolderOf(const StudyData& data, const Followed& followed, const Average& average) {
  const std::string of = average.label.empty() ? "" : average.label + ", ";
  return {.at = SettingsOf(data, *followed.point), .label = of + followed.label()};
}

static void WriteSwitches(const StudyData& data, const std::vector<Followed>& all, const Average& average,
                          v1::Answer* answer) {
  PlotWriter plot("switches", "Size before and after each switch", answer);
  const std::string& unit = data.observable.unit();
  using Role = v1::PlotColumn;
  AxisColumns(data, -1, &plot);
  plot.Column("switch", "", Role::ROLE_X, "Index of the switch in a run, from 1.")
      .Column("old_amplitude", "", Role::ROLE_UNSPECIFIED, "Amplitude of the drive before it.")
      .Column("new_amplitude", "", Role::ROLE_UNSPECIFIED, "Amplitude of the drive after it.")
      .SizeColumns("old_size", unit, "Size on the plateau before it.")
      .SizeColumns("new_size", unit, "Size on the plateau after it.")
      .MeanColumns("response_time", "tau", kRise.definition);
  for (const Followed& followed : all) {
    const Holder holder = HolderOf(data, followed, average);
    AddLogMean(kStep, holder, followed.step, followed.step.HalfWidth(0.95), answer);
    if (followed.net) AddLogMean(kNet, holder, *followed.net, followed.net->HalfWidth(0.95), answer);
    WriteResponse(followed, holder, answer);
    if (followed.as_prepared) {
      AddLogMean(kFresh, holder, *followed.as_prepared, followed.as_prepared->HalfWidth(0.90), answer)
          ->set_note(followed.as_prepared_note);
    }
    std::vector<double> row = followed.point->axis_values;
    row.insert(row.end(),
               {static_cast<double>(followed.number + 1), followed.from().amplitude, followed.to().amplitude});
    const auto sizes = MeansOf(std::vector{LogsOf(followed.before), LogsOf(followed.after)});
    AppendSize(followed.before.trials, sizes[0], &row);
    AppendSize(followed.after.trials, sizes[1], &row);
    AppendMean(followed.approaches() ? followed.responses : std::vector<double>(), &row);
    plot.Row(row, followed.label() + "; against an as-prepared sample: " + followed.as_prepared_note,
             MarkOf(followed.point->counts()));
  }
}

/// Size against time, mean over realizations.
static void WriteCourses(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("courses", "Size against time", answer);
  AxisColumns(data, -1, &plot);
  plot.Column("time", "tau", v1::PlotColumn::ROLE_X, "Centre of one of 200 equal time bins.")
      .SizeColumns("size", data.observable.unit(), "Mean size in that bin.");
  size_t written = 0;
  for (const Point& point : data.points) {
    for (size_t k = 0; k < kCourseBins && written < kMaxCourses; ++k) {
      const CurvePoint values =
          CurvePointOf(point, 0, [&](const RunDigest& run) { return run.course.empty() ? kNone : run.course[k]; });
      if (values.trials.empty()) continue;
      std::vector<double> row = point.axis_values;
      row.push_back((static_cast<double>(k) + 0.5) / kCourseBins * point.stages.back().end);
      AppendSize(values.trials, MeanOf(LogsOf(values), {}), &row);
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
    if (from * to > 0 && followed.step.count > 0) changes.push_back({to / from, std::exp(followed.step.mean)});
  }
  const double factor = data.options.change_factor();
  AddEstimate(kGrow, {}, ChangeNeeded(changes, factor), answer);
  AddEstimate(kShrink, {}, ChangeNeeded(changes, 1 / factor), answer);
}

static size_t CountOf(const std::vector<Followed>& all, Move move, int direction = 0) {
  return static_cast<size_t>(std::count_if(all.begin(), all.end(), [&](const Followed& one) {
    return one.move() == move && (direction == 0 || one.drive_change() * direction > 0);
  }));
}

/// "In 6 of 10 switches the size moved with the drive (4 of 5 up, 2 of 5 down), in 2 against it, in 2 unresolved."
static std::string MovesText(const std::vector<Followed>& all) {
  const auto text = [](size_t count) { return std::to_string(count); };
  const auto directed = [&](int direction) {
    return text(static_cast<size_t>(std::count_if(
        all.begin(), all.end(), [&](const Followed& one) { return one.drive_change() * direction > 0; })));
  };
  std::string moves = "In " + text(CountOf(all, Move::kWith)) + " of " + text(all.size()) +
                      " switches the size moved with the drive (" + text(CountOf(all, Move::kWith, 1)) + " of " +
                      directed(1) + " up, " + text(CountOf(all, Move::kWith, -1)) + " of " + directed(-1) + " down)";
  const auto add = [&](Move move, const char* what) {
    if (const size_t count = CountOf(all, move); count > 0) moves += ", in " + text(count) + " " + what;
  };
  add(Move::kAgainst, "against it");
  add(Move::kSameAmplitude, "at the same amplitude");
  add(Move::kNotSeparable, "it changed, which is not separable from ageing");
  add(Move::kUnresolved, "unresolved");
  return moves + ".";
}

/// " Relaxation times: 3.1 tau up, 5.2 tau down.": medians over the switches that approach a new plateau.
static std::string TimesText(const std::vector<Followed>& all) {
  std::string text;
  for (const bool up : {true, false}) {
    std::vector<double> times;
    for (const Followed& one : all) {
      if (one.approaches() && (one.claimed().mean > 0) == up) times.push_back(Summarise(one.responses).mean);
    }
    if (times.empty()) continue;
    std::sort(times.begin(), times.end());
    text += (text.empty() ? " Relaxation time: " : ", ") + Short(times[times.size() / 2]) + " tau for " +
            (up ? "growth" : "shrinkage");
  }
  return text.empty() ? text : text + ".";
}

/// " After turning down, the size is 1.4 times (1.1 to 1.8) that of an as-prepared sample.": the last such switch.
static std::string LeftText(const std::vector<Followed>& all) {
  const Followed* last = nullptr;
  for (const Followed& one : all) {
    if (one.drive_change() < 0 && one.as_prepared && one.as_prepared->count >= 2) last = &one;
  }
  if (last == nullptr) return "";
  const LogMean& ratio = *last->as_prepared;
  const double half = ratio.HalfWidth(0.90);
  return " After turning down (" + last->label() + ") the size is " + Short(std::exp(ratio.mean)) + " times (" +
         Short(std::exp(ratio.mean - half)) + " to " + Short(std::exp(ratio.mean + half)) +
         ", 90 %) that of an as-prepared sample: " + last->as_prepared_note + ".";
}

static void AddCautions(const StudyData& data, const std::vector<Followed>& all, v1::Answer* answer) {
  const auto of_all = [&](auto has) {
    return std::to_string(std::count_if(all.begin(), all.end(), has)) + " of " + std::to_string(all.size());
  };
  const auto no_control = [](const Followed& one) { return !one.net; };
  const auto not_fresh = [](const Followed& one) { return !one.as_prepared; };
  if (std::any_of(all.begin(), all.end(), no_control)) {
    answer->add_cautions("Changes at " + of_all(no_control) +
                         " switches are not separable from ageing: no bed stayed under the old drive to equal age. "
                         "gyrebox control writes a study of such beds; name it as fresh_study.");
  }
  if (std::any_of(all.begin(), all.end(), not_fresh)) {
    answer->add_cautions(of_all(not_fresh) +
                         " switches have no as-prepared sample under the new drive to compare with; the study that "
                         "gyrebox control writes has them.");
  }
  if (data.spec().trials().count() < 2) answer->add_cautions("With one realization no difference can be tested.");
}

void AnswerSwitching(const StudyData& data, const AsPrepared& samples, v1::Answer* answer) {
  const auto averages = AveragesOf(data);
  auto all = FollowedOf(data, averages.front());
  if (all.empty()) return;
  for (Followed& followed : all) {
    SetNet(data, samples, &followed);
    SetAsPrepared(data, samples, &followed);
  }
  Resolve(&all);
  WriteChanges(data, all, answer);
  WriteSwitches(data, all, averages.front(), answer);
  for (size_t i = 1; i < averages.size(); ++i) {
    for (const Followed& followed : FollowedOf(data, averages[i])) {
      AddLogMean(kStep, HolderOf(data, followed, averages[i]), followed.step, followed.step.HalfWidth(0.95), answer);
    }
  }
  WriteCourses(data, answer);
  answer->set_summary(MovesText(all) + TimesText(all) + LeftText(all));
  AddCautions(data, all, answer);
}

}  // namespace gyrebox::analysis
