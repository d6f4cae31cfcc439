#include "digest/study_data.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <utility>

#include "digest/measure_again.h"
#include "digest/step_audit.h"
#include "store/names.h"
#include "study/expand.h"
#include "study/realizations.h"
#include "study/return_if_error.h"
#include "study/rules.h"

namespace gyrebox::analysis {

schema::TrialCounts Point::counts() const {
  schema::TrialCounts counts;
  counts.moves_with_step = audit.verdict() == v1::StepAudit::VERDICT_MOVES;
  for (const RunDigest& run : runs) {
    if (!run.left_out.empty()) {
      ++counts.excluded;
      continue;
    }
    switch (run.state) {
      case v1::Run::STATE_FINISHED:
        ++(run.changed ? counts.changed : run.identical ? counts.identical : counts.counted);
        break;
      case v1::Run::STATE_UNSTABLE:
        ++counts.unstable;
        break;
      case v1::Run::STATE_FAILED:
        ++counts.failed;
        break;
      case v1::Run::STATE_CANCELLED:
        ++counts.cancelled;
        break;
      default:
        ++counts.waiting;
    }
  }
  return counts;
}

/// Frequency of the drive if all stages have the same, else 0.
static double CommonFrequency(const std::vector<Stage>& stages) {
  const double frequency = stages.front().frequency;
  const auto same = [&](const Stage& stage) { return stage.frequency == frequency; };
  return std::all_of(stages.begin(), stages.end(), same) ? frequency : 0;
}

/// Reads runs into the points of their study, by axis values.
class Reader {
 public:
  Reader(store::Store& store, int64_t id, const std::map<int64_t, int64_t>& adjusted, Depth depth, DigestCache* cache,
         const v1::MeasureAgain* again, const study::Stop& stop, StudyData* data)
      : store_(store),
        id_(id),
        adjusted_(adjusted),
        depth_(depth),
        cache_(cache),
        again_(again),
        stop_(stop),
        name_(data->observable.name()),
        order_(data->spec()),
        data_(*data) {
    for (auto& values : study::Points(data_.spec())) {
      if (stop_.asked()) return;
      Point& point = data_.points.emplace_back();
      const v1::StudySpec at = study::AtPoint(data_.spec(), values);
      point.stages = StagesOf(at);
      point.identical = study::RealizationsAreIdentical(at);
      point.spinners = std::round(static_cast<double>(at.bed().bead_count()) * at.bed().spinner_fraction());
      point.axis_values = std::move(values);
    }
  }

  /// Records which points have audit runs, before any run is read.
  void NoteAudits(const std::vector<v1::Run>& runs) {
    for (const v1::Run& run : runs) {
      if (run.audit()) audited_.insert(IndexOf(run));
    }
  }

  absl::Status Read(const v1::Run& run) {
    const auto name = store::ParseRunName(run.name());
    if (!name.ok()) return name.status();
    const size_t index = IndexOf(run);
    Point& point = data_.points[index];
    RunDigest digest;
    if (run.has_exclusion()) {
      digest.left_out = run.exclusion().user() + ": " + run.exclusion().reason();
    } else if (run.state() == v1::Run::STATE_FINISHED) {
      auto known = Known(run, name->run, index);
      if (!known.ok()) return known.status();
      digest = *std::move(known);
    }
    digest.number = name->run;
    digest.trial = run.trial();
    digest.state = run.state();
    (run.audit() ? point.audits : point.runs).push_back(std::move(digest));
    return absl::OkStatus();
  }

 private:
  size_t IndexOf(const v1::Run& run) const {
    return order_.Index({run.axis_values().begin(), run.axis_values().end()});
  }

  /// Audited points also need the averages over clusters.
  Depth DepthAt(size_t index) const {
    return depth_ == Depth::kMean && audited_.contains(index) ? Depth::kAverages : depth_;
  }

  /// Whether an adjustment took effect before the run ended.
  bool WasAdjusted(int64_t number, int64_t last_step) const {
    const auto found = adjusted_.find(number);
    return found != adjusted_.end() && found->second < last_step;
  }

  /// The digest of a run, from the cache if present.
  absl::StatusOr<RunDigest> Known(const v1::Run& run, int64_t number, size_t index) {
    const Point& point = data_.points[index];
    if (run.time() <= point.stages.back().begin) return RunDigest();  // ended before its last stage
    if (cache_ == nullptr || depth_ != Depth::kWhole) return Summarized(run, number, point, DepthAt(index));
    const auto key = KeyOf(run, number);
    if (auto found = cache_->Find(key)) {
      if (!found->observable.name().empty()) data_.observable = found->observable;
      return *std::move(found);
    }
    auto summarized = Summarized(run, number, point, depth_);
    if (summarized.ok()) cache_->Keep(key, *summarized);
    return summarized;
  }

  DigestCache::Key KeyOf(const v1::Run& run, int64_t number) const {
    if (again_ == nullptr) return {id_, number, run.sample_count(), name_, {}};
    return {id_, number, run.sample_count(), name_, "again " + again_->SerializeAsString()};
  }

  absl::StatusOr<RunDigest> Summarized(const v1::Run& run, int64_t number, const Point& point, Depth depth) {
    RunDigest digest;
    digest.changed = WasAdjusted(number, run.step());
    if (digest.changed) return digest;
    const double fraction = data_.spec().measure().plateau_fraction();
    auto stages = point.stages;
    stages.back().end = run.time();  // a user may have ended it early, or extended it
    const double since = FirstTimeNeeded(stages, fraction, depth);
    const auto series = again_ == nullptr ? StoredSeries(number, since, depth) : SeriesAgain(run, number, since);
    if (!series.ok()) return series.status();
    if ((digest.no_frames = series->no_frames)) return digest;
    digest = SummarizeRun(series->rows, series->columns, stages, fraction, CommonFrequency(point.stages),
                          point.stages.back().end, depth);
    data_.observable = digest.observable = series->columns.observable;
    return digest;
  }

  struct RunSeries {
    bool no_frames = false;  ///< asked to be measured again, but keeps no frames
    Columns columns;         ///< of the rows
    store::SampleRows rows;
  };

  /// The needed columns of a run's stored series, from a time on.
  absl::StatusOr<RunSeries> StoredSeries(int64_t number, double since, Depth depth) {
    const auto observables = store_.series().GetObservables(id_, number);
    if (!observables.ok()) return observables.status();
    const auto columns = FindColumns(*observables, name_);
    if (!columns.ok()) return columns.status();
    std::vector<size_t> indices;
    RunSeries series;
    series.columns = SelectColumns(*columns, depth, &indices);
    auto rows = store_.series().ReadColumns(id_, number, since, indices);
    if (!rows.ok()) return rows.status();
    series.rows = *std::move(rows);
    return series;
  }

  /// The series of a run from a time on, measured again from its frames.
  absl::StatusOr<RunSeries> SeriesAgain(const v1::Run& run, int64_t number, double since) {
    const auto frames = FrameSeries::Open(store_, id_, number, run, data_.spec(), *again_);
    if (!frames.ok()) return frames.status();
    if (frames->size() == 0) return RunSeries{true, {}, {}};
    auto columns = FindColumns(frames->observables(), name_);
    if (!columns.ok()) return columns.status();
    auto rows = frames->Measure(frames->IndexAt(since), frames->size(), stop_);
    if (!rows.ok()) return rows.status();
    return RunSeries{false, *std::move(columns), *std::move(rows)};
  }

  store::Store& store_;
  const int64_t id_;
  const std::map<int64_t, int64_t>& adjusted_;  ///< see store::WholeStudy
  const Depth depth_;
  DigestCache* const cache_;
  const v1::MeasureAgain* const again_;
  const study::Stop& stop_;
  const std::string name_;
  const study::PointOrder order_;
  std::set<size_t> audited_;  ///< indices of points
  StudyData& data_;
};

/// Lets only the first finished run of identical realizations count.
static void CountOnce(std::vector<RunDigest>* runs) {
  bool found = false;
  for (RunDigest& run : *runs) {
    if (!run.counts()) continue;
    if ((run.identical = std::exchange(found, true))) run.stages.clear();
  }
}

std::string LeadingObservable(const v1::StudySpec& spec, const std::string& asked) {
  if (!asked.empty()) return asked;
  return spec.measure().size_observable().empty() ? kDefaultObservable : spec.measure().size_observable();
}

static std::vector<v1::AnalysisAxis> AxesOf(const v1::StudySpec& spec) {
  std::vector<v1::AnalysisAxis> axes;
  for (const v1::Axis& axis : spec.axes()) {
    v1::AnalysisAxis& known = axes.emplace_back();
    known.set_field(axis.field());
    known.set_unit(study::UnitAt(spec, axis.field()));
    for (const double value : study::AxisValues(axis)) known.add_values(value);
  }
  return axes;
}

/// The average over clusters that is shown beside the size.
static v1::Observable OtherAverage(const v1::Observable& size) {
  v1::Observable other = size;
  other.set_name(size.name() == kNumberAverage ? kWeightAverage : kNumberAverage);
  other.set_unit("beads");
  other.set_definition(size.name() == kNumberAverage
                           ? "Weight-average size of the spinner clusters: mean size of the cluster of a spinner."
                           : "Number-average size of the spinner clusters: each cluster counts once.");
  return other;
}

absl::StatusOr<StudyData> ReadStudy(store::Store& store, int64_t id, const std::string& observable, Depth depth,
                                    DigestCache* cache, const v1::MeasureAgain* again, const study::Stop& stop) {
  auto whole = store.studies().GetWhole(id);
  if (!whole.ok()) return whole.status();
  StudyData data;
  data.study = std::move(whole->study);
  data.axes = AxesOf(data.spec());
  data.observable.set_name(LeadingObservable(data.spec(), observable));
  Reader reader(store, id, whole->adjusted, depth, cache, again, stop, &data);
  reader.NoteAudits(whole->runs);
  for (const v1::Run& run : whole->runs) {
    if (stop.asked()) return study::Stopped();
    GYREBOX_RETURN_IF_ERROR(reader.Read(run));
  }
  const auto by_trial = [](const RunDigest& a, const RunDigest& b) { return a.trial < b.trial; };
  for (Point& point : data.points) {
    std::sort(point.runs.begin(), point.runs.end(), by_trial);
    std::sort(point.audits.begin(), point.audits.end(), by_trial);
    if (point.identical) CountOnce(&point.runs);
  }
  JudgeAudits(&data);
  data.other = OtherAverage(data.observable);
  return data;
}

double SizeOf(const RunDigest& run) { return run.size(); }

double OtherOf(const RunDigest& run) { return run.other(); }

std::vector<double> Values(const Point& point, const NumberOf& number) { return Values(point.runs, number); }

std::vector<double> Values(const std::vector<RunDigest>& runs, const NumberOf& number) {
  std::vector<double> values;
  for (const RunDigest& run : runs) {
    if (!run.counts()) continue;
    if (const double value = number(run); !std::isnan(value)) values.push_back(value);
  }
  return values;
}

CurvePoint CurvePointOf(const Point& point, double x, const NumberOf& number) {
  CurvePoint values{.x = x, .trials = {}, .unstable_count = point.counts().unstable};
  for (const RunDigest& run : point.runs) {
    if (!run.counts()) continue;
    const double value = number(run);
    if (std::isnan(value)) continue;
    values.trials.push_back(value);
    values.starts.push_back(run.trial);
  }
  return values;
}

std::vector<CurvePoint> CurveOf::With(const NumberOf& number) const {
  std::vector<CurvePoint> curve;
  for (const Point* point : points) {
    curve.push_back(CurvePointOf(*point, x_axis < 0 ? 0 : point->axis_values[x_axis], number));
  }
  return curve;
}

std::vector<CurveOf> CurvesAlong(const StudyData& data, int x_axis) {
  std::vector<CurveOf> curves;
  std::map<std::vector<double>, size_t> known;
  for (const Point& point : data.points) {
    std::vector<double> others = point.axis_values;
    if (x_axis >= 0) others.erase(others.begin() + x_axis);
    const auto [index, is_new] = known.try_emplace(others, curves.size());
    if (is_new) {
      CurveOf& curve = curves.emplace_back();
      curve.x_axis = x_axis;
      for (int i = 0; i < static_cast<int>(data.axes.size()); ++i) {
        if (i == x_axis) continue;
        v1::AxisSetting& setting = curve.at.emplace_back();
        setting.set_field(data.axes[i].field());
        setting.set_value(point.axis_values[i]);
      }
    }
    curves[index->second].points.push_back(&point);
  }
  return curves;
}

}  // namespace gyrebox::analysis
