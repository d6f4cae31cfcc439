// How far does the way up differ from the way down?
#include <algorithm>
#include <cmath>

#include "analysis/answer_parts.h"
#include "analysis/loop.h"
#include "schema/mark_text.h"

namespace gyrebox::analysis {

constexpr Kind kArea = {"loop_area",
                        "Area between the way up and the way down: integral of |size up - size down| over the "
                        "amplitude.",
                        "Of each bed, on straight lines between its points; mean over trials, Student's t interval.",
                        "definition", 0.95};
constexpr Kind kDelayArea = {
    "delay_area", "Area that the loop would have without any memory, only because the size follows late.",
    "Twice the sweep rate times the delay times the height of the loop; the delay is the longest of "
    "the mean correlation times of the plateaus and the mean response times.",
    "Debye relaxation, slow limit", 0};
constexpr Kind kRest = {
    "loop_area_at_rest", "Area of the loop at a sweep rate of 0.",
    "Straight line through the areas of all points against rate^(2/3), which is how a swept jump is "
    "delayed; 95 % interval of its value at 0.",
    "P. Jung, G. Gray, R. Roy and P. Mandel, Phys. Rev. Lett. 65, 1873 (1990)", 0.95};

/// How many times the area of the delay a loop must have to be told from it.
constexpr double kSafety = 2;

/// The points of one way through the stages of a run.
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
      const double share = (time - stage.begin) / (stage.end - stage.begin);
      points.push_back({from + share * (stage.amplitude - from), run.course[k]});
    }
  }
  return points;
}

/// The loop of one point.
struct Loop {
  const Point* point = nullptr;
  std::vector<double> areas = {};  ///< of each trial
  double rate = 0;                 ///< of the amplitude, mean over the sweep, per tau
  double delay = 0;                ///< tau
  double height = 0;               ///< largest less smallest mean plateau
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
    return AreaBetween(WayOf(run, point, sweep->up), WayOf(run, point, sweep->down)).value_or(kNone);
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
  PlotWriter plot("loops", "Size on the way up and on the way down", answer);
  using Role = v1::PlotColumn;
  AxisColumns(data, -1, &plot);
  plot.Column("way", "", Role::ROLE_CURVE, "1 on the way up, -1 on the way down.")
      .Column("amplitude", "", Role::ROLE_X, "Amplitude of the drive.")
      .MeanColumns("size", data.observable.unit(),
                   "Size: plateau of a stage that holds, mean within a short time of a ramp.");
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
        AppendMean(values, &row);
        plot.Row(row, way > 0 ? "up" : "down", schema::MarkText(loop.point->counts()));
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
      AddPlace(kRest, {.unit = unit}, {.note = "the loops go through different amplitudes"}, answer);
      return;
    }
    rates.insert(rates.end(), loop.areas.size(), loop.rate);
    areas.insert(areas.end(), loop.areas.begin(), loop.areas.end());
  }
  if (const auto rest = ExtrapolateToRest(rates, areas)) {
    AddValue(kRest, {.unit = unit, .trials = areas.size()}, rest->at_rest, rest->half_width, answer);
  } else {
    AddPlace(kRest, {.unit = unit}, {.note = "all sweeps are equally fast: vary the durations of the stages"}, answer);
  }
}

void AnswerLoop(const StudyData& data, v1::Answer* answer) {
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
    AddPlace(kDelayArea, holder, {.value = by_delay}, answer);
    if (MeanOf(loop.areas) > kSafety * by_delay) continue;
    ++explained;
    answer->add_cautions(
        Sentence(holder.at, "the sweep is fast enough to explain this loop by itself: the size follows " +
                                Short(loop.delay) + " tau late. Sweep slower before you speak of two states."));
  }
  WriteAtRest(loops, unit, answer);
  WriteWays(data, loops, answer);
  answer->set_summary("Loops wider than a late response alone would make them: " +
                      std::to_string(loops.size() - explained) + " of " + std::to_string(loops.size()) + ".");
}

}  // namespace gyrebox::analysis
