#include "analysis/snapshots.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "analysis/answer_parts.h"
#include "analysis/statistics.h"
#include "store/names.h"
#include "study/expand.h"

namespace gyrebox::analysis {

constexpr double kEnd = std::numeric_limits<double>::infinity();
/// Curves of a map whose onset and settled range are shown.
constexpr int kMostCurves = 2;

/// Adds one snapshot after another.
class Album {
 public:
  Album(store::Store& store, const StudyData& data, v1::Answers* answers)
      : store_(store), data_(data), answers_(*answers) {}

  bool empty() const { return answers_.snapshots().empty(); }
  const absl::Status& status() const { return status_; }

  /// Shows a run at a moment that has a frame after `from`, the last one before `until`, both in tau.
  /// @param value NaN for none.
  void Show(const Point& point, const RunDigest& run, double from, double until, double value, const std::string& why) {
    if (!status_.ok()) return;
    const double time_step = study::AtPoint(data_.spec(), point.axis_values).dynamics().time_step();
    const int64_t at_most = until == kEnd ? std::numeric_limits<int64_t>::max() : std::llround(until / time_step);
    const auto step = store_.FindFrame(store::ParseStudyName(data_.study.name()).value_or(0), run.number, at_most);
    if (!step.ok()) return status_.Update(step.status());
    const double first = from / time_step;
    if (!step->has_value() || static_cast<double>(**step) <= first - 0.5) return;
    Add(point, run, **step, value, why);
  }

  /// Shows the last that there is of a run.
  void ShowEnd(const Point& point, const RunDigest& run, const std::string& why) {
    Show(point, run, 0, kEnd, run.counts() ? run.size() : kNone, why);
  }

 private:
  void Add(const Point& point, const RunDigest& run, int64_t step, double value, const std::string& why) {
    const std::string name = data_.study.name() + "/runs/" + std::to_string(run.number);
    for (v1::Snapshot& known : *answers_.mutable_snapshots()) {
      if (known.run() == name && known.step() == step) return known.set_caption(known.caption() + "; " + why);
    }
    if (answers_.snapshots_size() >= kMostSnapshots) return;
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

/// The run of a point that is nearest to the mean of those that count; null where none counts.
static const RunDigest* TypicalOf(const Point& point) {
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

static void ShowTypical(const Point& point, const std::string& why, Album* album) {
  if (const RunDigest* run = TypicalOf(point)) album->ShowEnd(point, *run, why);
}

/// The points of the smallest and of the largest mean; null where none counts.
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

/// What sizes are called in a caption: "largest" and this.
static std::string NounOf(const StudyData& data) {
  return data.observable.name() == kDefaultObservable ? "domains" : data.observable.name();
}

/// The runs of a point that lie furthest apart.
static void ShowSpread(const StudyData& data, const Point& point, Album* album) {
  const RunDigest *smallest = nullptr, *largest = nullptr;
  for (const RunDigest& run : point.runs) {
    if (!run.counts() || std::isnan(run.size())) continue;
    if (smallest == nullptr || run.size() < smallest->size()) smallest = &run;
    if (largest == nullptr || run.size() > largest->size()) largest = &run;
  }
  if (smallest == largest) return;
  album->ShowEnd(point, *largest, "largest " + NounOf(data) + " of all starts");
  album->ShowEnd(point, *smallest, "smallest " + NounOf(data) + " of all starts");
}

static void ShowSizes(const StudyData& data, Album* album) {
  const Extremes extremes = ExtremesOf(data);
  if (extremes.largest == nullptr) return;
  if (extremes.largest == extremes.smallest) {
    ShowTypical(*extremes.largest, "typical of its starts", album);
    return ShowSpread(data, *extremes.largest, album);
  }
  ShowTypical(*extremes.largest, "largest " + NounOf(data), album);
  ShowTypical(*extremes.smallest, "smallest " + NounOf(data), album);
}

/// What the map says of a curve; null where it says nothing.
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

/// The point of a curve that counts and is nearest to a place, among those from another place on.
static const Point* Nearest(const CurveOf& curve, double place, double from) {
  const Point* nearest = nullptr;
  const auto x = [&](const Point* point) { return point->axis_values[curve.x_axis]; };
  for (const Point* point : curve.points) {
    if (TypicalOf(*point) == nullptr || x(point) < from) continue;
    if (nearest == nullptr || std::abs(x(point) - place) < std::abs(x(nearest) - place)) nearest = point;
  }
  return nearest;
}

/// Shows what the map found along its curves.
static void ShowMap(const StudyData& data, const Plan& plan, const v1::Answers& answers, Album* album) {
  if (!plan.map()) return;
  int shown = 0;
  for (const CurveOf& curve : CurvesAlong(data, plan.x_axis)) {
    const auto show = [&](const Point* point, const std::string& why) {
      if (point != nullptr) ShowTypical(*point, why, album);
    };
    const v1::Quantity *onset = Find(answers, "onset", curve.at), *range = Find(answers, "settled_range", curve.at),
                       *window = Find(answers, "best_window", curve.at);
    const std::string axis = ShortName(data.axes[plan.x_axis].field());
    if (onset != nullptr && onset->has_value()) {
      show(Nearest(curve, onset->value(), onset->value()), "past the onset at " + axis + " " + Short(onset->value()));
    }
    if (range != nullptr && range->has_low() && range->has_high()) {
      show(Nearest(curve, (range->low() + range->high()) / 2, range->low()), "in the middle of the settled range");
    }
    if (window != nullptr && window->has_value()) {
      show(Nearest(curve, window->value(), window->value()), "where starts are most alike");
    }
    if (++shown == kMostCurves) return;
  }
}

/// Shows the first run that became unstable.
static void ShowUnstable(const StudyData& data, Album* album) {
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (run.state == v1::Run::STATE_UNSTABLE) return album->ShowEnd(point, run, "unstable: where it was stopped");
    }
  }
}

/// Shows a run at the end of each of its stages; of those before the last only where frames are kept.
static void ShowStages(const Point& point, const std::string& which, Album* album) {
  const RunDigest* run = TypicalOf(point);
  if (run == nullptr) return;
  for (size_t k = 0; k < point.stages.size(); ++k) {
    const Stage& stage = point.stages[k];
    const bool last = k + 1 == point.stages.size();
    const double value = k < run->stages.size() ? run->stages[k].mean : kNone;
    const std::string number = std::to_string(k + 1);
    const std::string label = stage.label == number ? "" : " (" + stage.label + ")";
    album->Show(point, *run, stage.begin, last ? kEnd : stage.end, value,
                "end of stage " + number + label + (which.empty() ? "" : ", " + which));
  }
}

/// The points whose stages are shown: the ends of the axis that the bed is to remember, else those of the largest and
/// smallest domains.
static void ShowStaged(const StudyData& data, const Plan& plan, Album* album) {
  if (plan.memory_axis) {
    const auto curves = CurvesAlong(data, *plan.memory_axis);
    const Point *weakest = nullptr, *strongest = nullptr;
    for (const Point* point : curves.front().points) {
      const auto x = [&](const Point* one) { return std::abs(one->axis_values[*plan.memory_axis]); };
      if (TypicalOf(*point) == nullptr) continue;
      if (weakest == nullptr || x(point) < x(weakest)) weakest = point;
      if (strongest == nullptr || x(point) > x(strongest)) strongest = point;
    }
    if (weakest != nullptr) ShowStages(*weakest, "weakest middle stage", album);
    if (strongest != nullptr && strongest != weakest) ShowStages(*strongest, "strongest middle stage", album);
    return;
  }
  const Extremes extremes = ExtremesOf(data);
  if (extremes.largest == nullptr) return;
  const bool several = extremes.largest != extremes.smallest;
  ShowStages(*extremes.largest, several ? "largest " + NounOf(data) : "", album);
  if (several) ShowStages(*extremes.smallest, "smallest " + NounOf(data), album);
}

/// Before any run has ended: how far the first ones are.
static void ShowUnderWay(const StudyData& data, Album* album) {
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (run.state == v1::Run::STATE_RUNNING) album->ShowEnd(point, run, "under way");
      if (!album->empty() || !album->status().ok()) return;
    }
  }
}

absl::Status AddSnapshots(store::Store& store, const StudyData& data, const Plan& plan, v1::Answers* answers) {
  Album album(store, data, answers);
  if (plan.stages) {
    ShowStaged(data, plan, &album);
  } else {
    ShowSizes(data, &album);
    ShowMap(data, plan, *answers, &album);
  }
  ShowUnstable(data, &album);
  if (album.empty()) ShowUnderWay(data, &album);
  return album.status();
}

}  // namespace gyrebox::analysis
