// Is there hysteresis between up and down sweeps?
#include <algorithm>
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/as_prepared.h"
#include "estimators/loop.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr Kind kArea = {"loop_area",
                        "Signed area between the down and the up sweep: integral of size down - size up over the "
                        "amplitude; positive if the size lags a drive that raises it.",
                        "For each bed, by linear interpolation between its points; mean over realizations, Student's "
                        "t interval.",
                        "definition", 0.95};
constexpr Kind kDelayArea = {
    "delay_area", "Area that lag alone gives the loop, without any memory.",
    "Twice the sweep rate times the delay times the height of the loop; the delay is the longest of the mean "
    "correlation times of the plateaus and the mean response times.",
    "Debye relaxation, slow limit", 0};
constexpr Kind kRest = {"loop_area_at_rest", "Area of the loop, extrapolated to a sweep rate of 0.",
                        "Least-squares line through the areas of all points against rate^(2/3), the delay law of a "
                        "swept jump; 95 % interval of its value at 0.",
                        "P. Jung, G. Gray, R. Roy and P. Mandel, Phys. Rev. Lett. 65, 1873 (1990)", 0.95};

/// A loop shows hysteresis beyond lag if its whole interval exceeds this many times the area of the delay.
constexpr double kSafety = 2;

/// The points of one sweep through the stages of a run.
static std::vector<SweepPoint> WayOf(const RunDigest& run, const Point& point, const std::vector<size_t>& way) {
  std::vector<SweepPoint> points;
  const double bin = point.stages.back().end / kCourseBins;
  for (const size_t i : way) {
    const Stage& stage = point.stages[i];
    if (!stage.ramps) {
      points.push_back({stage.amplitude, run.stages[i].mean});
      continue;
    }
    const double from = i > 0 ? point.stages[i - 1].amplitude : stage.amplitude;
    for (size_t k = 0; k < run.course.size(); ++k) {
      const double time = (static_cast<double>(k) + 0.5) * bin;
      if (time < stage.begin || time >= stage.end || std::isnan(run.course[k])) continue;
      const double fraction = (time - stage.begin) / (stage.end - stage.begin);
      points.push_back({from + fraction * (stage.amplitude - from), run.course[k]});
    }
  }
  return points;
}

/// The loop of one point.
struct Loop {
  const Point* point = nullptr;
  std::vector<double> areas = {};  ///< of each realization
  double rate = 0;                 ///< mean rate of the amplitude over the sweep, per tau
  double delay = 0;                ///< tau
  double height = 0;               ///< largest minus smallest mean plateau
};

static double MeanOf(const std::vector<double>& values) { return Summarise(values).mean; }

static double DelayOf(const Point& point) {
  double delay = 0;
  for (size_t i = 0; i < point.stages.size(); ++i) {
    if (point.stages[i].ramps) continue;
    delay = std::max(delay, MeanOf(Values(point, [&](const auto& run) { return run.stages[i].correlation_time; })));
  }
  for (size_t k = 0; k < SwitchesOf(point.stages).size(); ++k) {
    delay = std::max(delay, MeanOf(Values(point, [&](const auto& run) { return run.responses[k]; })));
  }
  return delay;
}

static std::optional<Loop> LoopOf(const Point& point) {
  const auto sweep = SweepOf(point.stages);
  if (!sweep) return std::nullopt;
  Loop loop{.point = &point};
  loop.areas = Values(point, [&](const RunDigest& run) {
    return SignedAreaBetween(WayOf(run, point, sweep->up), WayOf(run, point, sweep->down)).value_or(kNone);
  });
  if (loop.areas.empty()) return std::nullopt;
  double path = 0, smallest = INFINITY, largest = -INFINITY;
  for (size_t i = 0; i < point.stages.size(); ++i) {
    if (i > 0) path += std::abs(point.stages[i].amplitude - point.stages[i - 1].amplitude);
    const double size = MeanOf(Values(point, [&](const RunDigest& run) { return run.stages[i].mean; }));
    smallest = std::min(smallest, size);
    largest = std::max(largest, size);
  }
  loop.rate = path / point.stages.back().end;
  loop.delay = DelayOf(point);
  loop.height = largest - smallest;
  return loop;
}

static void WriteWays(const StudyData& data, const std::vector<Loop>& loops, v1::Answer* answer) {
  PlotWriter plot("loops", "Size on the up and the down sweep", answer);
  using Role = v1::PlotColumn;
  AxisColumns(data, -1, &plot);
  plot.Column("way", "", Role::ROLE_CURVE, "1 on the up sweep, -1 on the down sweep.")
      .Column("amplitude", "", Role::ROLE_X, "Amplitude of the drive.")
      .SizeColumns("size", data.observable.unit(), "Size: plateau of a hold stage, mean over a time bin of a ramp.");
  for (const Loop& loop : loops) {
    const Sweep sweep = *SweepOf(loop.point->stages);
    for (const int way : {1, -1}) {
      const auto& stages = way > 0 ? sweep.up : sweep.down;
      std::vector<std::vector<SweepPoint>> runs;
      for (const RunDigest& run : loop.point->runs) {
        if (run.counts()) runs.push_back(WayOf(run, *loop.point, stages));
      }
      for (size_t k = 0; !runs.empty() && k < runs.front().size(); ++k) {
        std::vector<double> values;
        for (const auto& run : runs) {
          if (k < run.size()) values.push_back(run[k].value);
        }
        std::vector<double> row = loop.point->axis_values;
        row.insert(row.end(), {static_cast<double>(way), runs.front()[k].x});
        AppendSize(values, MeanOf(Logs({{}, values}), {}), &row);
        plot.Row(row, way > 0 ? "up" : "down", MarkOf(loop.point->counts()));
      }
    }
  }
}

static bool SameAmplitudes(const Loop& a, const Loop& b) {
  const auto same = [](const Stage& one, const Stage& other) { return one.amplitude == other.amplitude; };
  const auto &first = a.point->stages, &second = b.point->stages;
  return std::equal(first.begin(), first.end(), second.begin(), second.end(), same);
}

static void WriteAtRest(const std::vector<Loop>& loops, const std::string& unit, v1::Answer* answer) {
  std::vector<double> rates, areas;
  for (const Loop& loop : loops) {
    if (!SameAmplitudes(loop, loops.front())) {
      AddEstimate(kRest, {.unit = unit}, {.note = "the loops cover different amplitudes"}, answer);
      return;
    }
    rates.insert(rates.end(), loop.areas.size(), loop.rate);
    areas.insert(areas.end(), loop.areas.begin(), loop.areas.end());
  }
  if (const auto rest = ExtrapolateToRest(rates, areas)) {
    AddValue(kRest, {.unit = unit, .trials = areas.size()}, rest->at_rest, rest->half_width, answer);
  } else {
    AddEstimate(kRest, {.unit = unit}, {.note = "all sweeps have the same rate: vary the durations of the stages"},
                answer);
  }
}

/// Whether its interval says that it is wider than lag makes it.
static bool BeyondLag(const Loop& loop) {
  const Summary areas = Summarise(loop.areas);
  return areas.count >= 2 &&
         areas.mean - areas.confidence_half_width > kSafety * AreaOfDelay(loop.rate, loop.delay, loop.height);
}

/// "area 12 (11 to 13); lag alone gives 10".
static std::string AreaText(const Loop& loop) {
  const Summary areas = Summarise(loop.areas);
  std::string text = "area " + schema::NumberText(areas.mean, 3);
  const double half = areas.confidence_half_width;
  if (areas.count > 1) {
    text += " (" + schema::NumberText(areas.mean - half, 3) + " to " + schema::NumberText(areas.mean + half, 3) + ")";
  }
  return text + "; lag alone gives " + schema::NumberText(AreaOfDelay(loop.rate, loop.delay, loop.height), 3);
}

static std::string SummaryOf(const StudyData& data, const std::vector<Loop>& loops, size_t explained) {
  if (loops.size() == 1) {
    const std::string shown = explained == 0 ? "shown" : "not shown";
    return Sentence(SettingsOf(data, *loops.front().point),
                    "hysteresis beyond lag: " + shown + " (" + AreaText(loops.front()) + ").");
  }
  const auto widest = std::max_element(loops.begin(), loops.end(),
                                       [](const Loop& a, const Loop& b) { return MeanOf(a.areas) < MeanOf(b.areas); });
  return "Hysteresis beyond lag: shown in " + std::to_string(loops.size() - explained) + " of " +
         std::to_string(loops.size()) + " loops. Widest loop, " + AtText(SettingsOf(data, *widest->point)) +
         AreaText(*widest) + ".";
}

/// Growth of a bed that stayed under the first drive over the time of a loop; NaN without one of equal age.
static double AgeingOver(const Loop& loop, const AsPrepared& samples) {
  const Stage &first = loop.point->stages.front(), &last = loop.point->stages.back();
  const AsPreparedSample* control = samples.Under(first.bed_and_drive);
  if (control == nullptr || !control->Reaches(last.end)) return kNone;
  const double half = first.begin + (first.end - first.begin) / 2;
  const double old = GeometricMean(control->Between(half, first.end));
  return GeometricMean(control->Between(last.end - (first.end - half), last.end)) / old;
}

/// The bed ages by itself, which opens loops too.
static void CautionOfAgeing(const std::vector<Loop>& loops, const AsPrepared& samples, v1::Answer* answer) {
  size_t without = 0;
  double largest = 1;
  for (const Loop& loop : loops) {
    const double growth = AgeingOver(loop, samples);
    if (std::isnan(growth)) ++without;
    if (std::abs(std::log(growth)) > std::abs(std::log(largest))) largest = growth;
  }
  if (without > 0) {
    answer->add_cautions(std::to_string(without) + " of " + std::to_string(loops.size()) +
                         " loops are not separable from ageing: no bed stayed under the first drive to equal age. "
                         "gyrebox control writes a study of such beds; name it as fresh_study.");
  } else {
    answer->add_cautions("Beds that stayed under the first drive changed by a factor of up to " + Short(largest) +
                         " in the time of a loop.");
  }
}

void AnswerLoop(const StudyData& data, const AsPrepared& samples, v1::Answer* answer) {
  std::vector<Loop> loops;
  for (const Point& point : data.points) {
    if (auto loop = LoopOf(point)) loops.push_back(*std::move(loop));
  }
  if (loops.empty()) return;
  const std::string unit = data.observable.unit() + " times amplitude";
  size_t explained = 0;
  for (const Loop& loop : loops) {
    const Holder holder{.unit = unit, .at = SettingsOf(data, *loop.point), .trials = loop.areas.size()};
    AddMean(kArea, holder, loop.areas, answer);
    const double by_delay = AreaOfDelay(loop.rate, loop.delay, loop.height);
    AddEstimate(kDelayArea, holder, {.value = by_delay}, answer);
    if (BeyondLag(loop)) continue;
    ++explained;
    answer->add_cautions(
        Sentence(holder.at, "lag or chance can explain this loop: the size follows the drive " + Short(loop.delay) +
                                " tau late. Sweep more slowly, with more realizations, before concluding that there "
                                "are two states."));
  }
  CautionOfAgeing(loops, samples, answer);
  WriteAtRest(loops, unit, answer);
  WriteWays(data, loops, answer);
  answer->set_summary(SummaryOf(data, loops, explained));
}

}  // namespace gyrebox::analysis
