#include "answers/snapshots.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "answers/answer_parts.h"
#include "estimators/statistics.h"
#include "store/names.h"
#include "study/expand.h"

namespace gyrebox::analysis {

constexpr double kEnd = std::numeric_limits<double>::infinity();
/// Max curves of a map for which onset and saturation regime are shown.
constexpr int kMaxCurves = 2;

/// Selects frames and adds them to the answers.
class SnapshotSelector {
 public:
  SnapshotSelector(store::Store& store, const StudyData& data, v1::Answers* answers)
      : store_(store), data_(data), answers_(*answers) {}

  bool empty() const { return answers_.snapshots().empty(); }
  const absl::Status& status() const { return status_; }

  /// Adds the last frame of a run up to `until`, if it is not before `from`; both in tau.
  /// @param value NaN for none.
  void Show(const Point& point, const RunDigest& run, double from, double until, double value, const std::string& why) {
    if (!status_.ok()) return;
    const double time_step = study::AtPoint(data_.spec(), point.axis_values).dynamics().time_step();
    const int64_t at_most = until == kEnd ? std::numeric_limits<int64_t>::max() : std::llround(until / time_step);
    const auto step = store_.frames().Find(store::ParseStudyName(data_.study.name()).value_or(0), run.number, at_most);
    if (!step.ok()) return status_.Update(step.status());
    const double first = from / time_step;
    if (!step->has_value() || static_cast<double>(**step) <= first - 0.5) return;
    Add(point, run, **step, value, why);
  }

  /// Adds the last frame of a run.
  void ShowEnd(const Point& point, const RunDigest& run, const std::string& why) {
    Show(point, run, 0, kEnd, run.counts() ? run.size() : kNone, why);
  }

 private:
  void Add(const Point& point, const RunDigest& run, int64_t step, double value, const std::string& why) {
    const std::string name = data_.study.name() + "/runs/" + std::to_string(run.number);
    for (v1::Snapshot& known : *answers_.mutable_snapshots()) {
      if (known.run() == name && known.step() == step) return known.set_caption(known.caption() + "; " + why);
    }
    if (answers_.snapshots_size() >= kMaxSnapshots) return;
    v1::Snapshot& snapshot = *answers_.add_snapshots();
    snapshot.set_run(name);
    snapshot.set_step(step);
    snapshot.set_caption(why);
    for (const v1::AxisSetting& setting : SettingsOf(data_, point)) *snapshot.add_at() = setting;
    if (!std::isnan(value)) snapshot.set_value(value);
  }

  store::Store& store_;
  const StudyData& data_;
  v1::Answers& answers_;
  absl::Status status_;
};

const RunDigest* TypicalOf(const Point& point) {
  const auto sizes = Values(point, SizeOf);
  if (sizes.empty()) return nullptr;
  const double mean = Summarise(sizes).mean;
  const RunDigest* typical = nullptr;
  for (const RunDigest& run : point.runs) {
    if (!run.counts() || std::isnan(run.size())) continue;
    if (typical == nullptr || std::abs(run.size() - mean) < std::abs(typical->size() - mean)) typical = &run;
  }
  return typical;
}

static void ShowTypical(const Point& point, const std::string& why, SnapshotSelector* selector) {
  if (const RunDigest* run = TypicalOf(point)) selector->ShowEnd(point, *run, why);
}

/// The points with the smallest and the largest mean; null if none counts.
struct Extremes {
  const Point *smallest = nullptr, *largest = nullptr;
};

static Extremes ExtremesOf(const StudyData& data) {
  Extremes extremes;
  double low = kEnd, high = -kEnd;
  for (const Point& point : data.points) {
    const auto sizes = Values(point, SizeOf);
    if (sizes.empty()) continue;
    const double mean = Summarise(sizes).mean;
    if (mean < low) low = mean, extremes.smallest = &point;
    if (mean > high) high = mean, extremes.largest = &point;
  }
  return extremes;
}

/// Noun for sizes in a caption, after "largest".
static std::string NounOf(const StudyData& data) {
  return data.observable.name() == kDefaultObservable ? "domains" : data.observable.name();
}

/// Adds the runs of a point with the largest and the smallest size.
static void ShowSpread(const StudyData& data, const Point& point, SnapshotSelector* selector) {
  const RunDigest *smallest = nullptr, *largest = nullptr;
  for (const RunDigest& run : point.runs) {
    if (!run.counts() || std::isnan(run.size())) continue;
    if (smallest == nullptr || run.size() < smallest->size()) smallest = &run;
    if (largest == nullptr || run.size() > largest->size()) largest = &run;
  }
  if (smallest == largest) return;
  selector->ShowEnd(point, *largest, "largest " + NounOf(data) + " of all realizations");
  selector->ShowEnd(point, *smallest, "smallest " + NounOf(data) + " of all realizations");
}

static void ShowSizes(const StudyData& data, SnapshotSelector* selector) {
  const Extremes extremes = ExtremesOf(data);
  if (extremes.largest == nullptr) return;
  if (extremes.largest == extremes.smallest) {
    ShowTypical(*extremes.largest, "typical realization", selector);
    return ShowSpread(data, *extremes.largest, selector);
  }
  ShowTypical(*extremes.largest, "largest " + NounOf(data), selector);
  ShowTypical(*extremes.smallest, "smallest " + NounOf(data), selector);
}

/// A quantity of the map for a curve; null if there is none.
static const v1::Quantity* Find(const v1::Answers& answers, const char* name, const std::vector<v1::AxisSetting>& at) {
  for (const v1::Answer& answer : answers.answers()) {
    if (answer.topic() != v1::Answer::TOPIC_MAP) continue;
    for (const v1::Quantity& quantity : answer.quantities()) {
      const bool same = std::equal(at.begin(), at.end(), quantity.at().begin(), quantity.at().end(),
                                   [](const auto& a, const auto& b) { return a.value() == b.value(); });
      if (quantity.name() == name && same) return &quantity;
    }
  }
  return nullptr;
}

/// The point of a curve nearest to `place` on the axis, among those at `from` or above with a run that counts.
static const Point* Nearest(const CurveOf& curve, double place, double from) {
  const Point* nearest = nullptr;
  const auto x = [&](const Point* point) { return point->axis_values[curve.x_axis]; };
  for (const Point* point : curve.points) {
    if (TypicalOf(*point) == nullptr || x(point) < from) continue;
    if (nearest == nullptr || std::abs(x(point) - place) < std::abs(x(nearest) - place)) nearest = point;
  }
  return nearest;
}

/// Adds the features that the map found along its curves.
static void ShowMap(const StudyData& data, const Plan& plan, const v1::Answers& answers, SnapshotSelector* selector) {
  if (!plan.map()) return;
  int shown = 0;
  for (const CurveOf& curve : CurvesAlong(data, plan.x_axis)) {
    const auto show = [&](const Point* point, const std::string& why) {
      if (point != nullptr) ShowTypical(*point, why, selector);
    };
    const v1::Quantity *onset = Find(answers, "onset", curve.at), *range = Find(answers, "stationary_range", curve.at),
                       *window = Find(answers, "best_window", curve.at);
    const std::string axis = ShortName(data.axes[plan.x_axis].field());
    if (onset != nullptr && onset->has_value()) {
      show(Nearest(curve, onset->value(), onset->value()), "past the onset at " + axis + " " + Short(onset->value()));
    }
    if (range != nullptr && range->has_low() && range->has_high()) {
      show(Nearest(curve, (range->low() + range->high()) / 2, range->low()), "in the middle of the saturation regime");
    }
    if (window != nullptr && window->has_value()) {
      show(Nearest(curve, window->value(), window->value()), "most reproducible");
    }
    if (++shown == kMaxCurves) return;
  }
}

/// Adds the first run that became unstable.
static void ShowUnstable(const StudyData& data, SnapshotSelector* selector) {
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (run.state == v1::Run::STATE_UNSTABLE) return selector->ShowEnd(point, run, "unstable: where it was stopped");
    }
  }
}

/// Adds a run at the end of each of its stages; stages before the last need kept frames.
static void ShowStages(const Point& point, const std::string& which, SnapshotSelector* selector) {
  const RunDigest* run = TypicalOf(point);
  if (run == nullptr) return;
  for (size_t k = 0; k < point.stages.size(); ++k) {
    const Stage& stage = point.stages[k];
    const bool last = k + 1 == point.stages.size();
    const double value = k < run->stages.size() ? run->stages[k].mean : kNone;
    const std::string number = std::to_string(k + 1);
    const std::string label = stage.label == number ? "" : " (" + stage.label + ")";
    selector->Show(point, *run, stage.begin, last ? kEnd : stage.end, value,
                   "end of stage " + number + label + (which.empty() ? "" : ", " + which));
  }
}

/// Adds the stages of two points: the ends of the memory axis if there is one, else those with the largest and smallest
/// domains.
static void ShowStaged(const StudyData& data, const Plan& plan, SnapshotSelector* selector) {
  if (plan.memory_axis) {
    const auto curves = CurvesAlong(data, *plan.memory_axis);
    const Point *weakest = nullptr, *strongest = nullptr;
    for (const Point* point : curves.front().points) {
      const auto x = [&](const Point* one) { return std::abs(one->axis_values[*plan.memory_axis]); };
      if (TypicalOf(*point) == nullptr) continue;
      if (weakest == nullptr || x(point) < x(weakest)) weakest = point;
      if (strongest == nullptr || x(point) > x(strongest)) strongest = point;
    }
    if (weakest != nullptr) ShowStages(*weakest, "weakest middle stage", selector);
    if (strongest != nullptr && strongest != weakest) ShowStages(*strongest, "strongest middle stage", selector);
    return;
  }
  const Extremes extremes = ExtremesOf(data);
  if (extremes.largest == nullptr) return;
  const bool several = extremes.largest != extremes.smallest;
  ShowStages(*extremes.largest, several ? "largest " + NounOf(data) : "", selector);
  if (several) ShowStages(*extremes.smallest, "smallest " + NounOf(data), selector);
}

/// Adds the first running run, if nothing else was selected.
static void ShowUnderWay(const StudyData& data, SnapshotSelector* selector) {
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (run.state == v1::Run::STATE_RUNNING) selector->ShowEnd(point, run, "running");
      if (!selector->empty() || !selector->status().ok()) return;
    }
  }
}

absl::Status AddSnapshots(store::Store& store, const StudyData& data, const Plan& plan, v1::Answers* answers) {
  SnapshotSelector selector(store, data, answers);
  if (plan.stages) {
    ShowStaged(data, plan, &selector);
  } else {
    ShowSizes(data, &selector);
    ShowMap(data, plan, *answers, &selector);
  }
  ShowUnstable(data, &selector);
  if (selector.empty()) ShowUnderWay(data, &selector);
  return selector.status();
}

}  // namespace gyrebox::analysis
