#include "study/steered_course.h"

#include <algorithm>

#include "schema/nearest_name.h"
#include "study/expand.h"
#include "study/number_at.h"
#include "study/run_settings.h"
#include "study/run_spec.h"
#include "study/time_step.h"
#include "study/validation/check_changes.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;

SteerPoint::SteerPoint(v1::StudySpec at_point) : at(std::move(at_point)), time_step(at.dynamics().time_step()) {
  at.clear_axes();
  drive = ToDriveSpec(at.drive());
  stages = ToAdjustments(at);  // in a replay, including the steering of the original run
  at.mutable_schedule()->clear_steering();
  int64_t step = 0;
  for (const v1::Stage& stage : at.schedule().stages()) {
    stage_begins.push_back(step);
    step += StepsOf(stage, time_step);
  }
}

SteerPoints::SteerPoints(const v1::StudySpec& spec) : spec_(spec) {}

/// Whether steering depends on a field: it needs the wave, the steps, and what determines them.
static bool Counts(const std::string& field) {
  static constexpr const char* kOthers[] = {"seeds.", "trials.", "health.", "retry.", "start.", "bed.spinner_fraction"};
  return std::none_of(std::begin(kOthers), std::end(kOthers),
                      [&](const char* other) { return field.starts_with(other); });
}

std::shared_ptr<const SteerPoint> SteerPoints::At(const v1::Run& run) {
  std::vector<double> counting = {run.audit() ? 1.0 : 0.0};  // an audit run has its own time step
  for (int i = 0; i < std::min(spec_.axes_size(), run.axis_values_size()); ++i) {
    if (Counts(spec_.axes(i).field())) counting.push_back(run.axis_values(i));
  }
  auto& point = points_[counting];
  if (point == nullptr) point = std::make_shared<SteerPoint>(SpecOf(spec_, run, {}));
  return point;
}

CourseFold::CourseFold(const SteerPoint& point)
    : frequencies(point.drive), peaks(ToPhysics(point.at)), now(ToPhysics(point.at)) {}

void CourseFold::Add(const kernels::Adjustment& adjustment) {
  if (!adjustment.wave.empty()) now.wave = adjustment.wave.front();
  for (const kernels::Change& change : adjustment.changes) now[change.parameter] = change.value;
  if (!Concerns(adjustment)) return;
  frequencies.Add(adjustment);
  peaks.Add(adjustment);
}

bool CourseFold::Concerns(const kernels::Adjustment& adjustment) {
  return FrequencyFold::Concerns(adjustment) || kernels::PeakFold::Concerns(adjustment);
}

SteeredCourse::SteeredCourse(std::shared_ptr<const SteerPoint> point) : point_(std::move(point)), fold_(*point_) {}

void SteeredCourse::Add(const v1::Adjustment& entry) {
  ++length_;
  Reach(entry.reached_step());
  if (entry.kind() == v1::Adjustment::KIND_WITHDRAW) {
    std::erase_if(ahead_, [&](const Planned& planned) { return planned.entry == entry.withdrawn_entry(); });
  }
  if (entry.kind() != v1::Adjustment::KIND_CHANGE) return;
  Planned planned{length_, ToAdjustment(ToReplayed(entry))};
  const auto after = std::upper_bound(ahead_.begin(), ahead_.end(), planned.adjustment.step,
                                      [](int64_t step, const Planned& other) { return step < other.adjustment.step; });
  ahead_.insert(after, std::move(planned));
}

bool SteeredCourse::IsPlanned(int64_t entry) const {
  return std::any_of(ahead_.begin(), ahead_.end(), [&](const Planned& planned) {
    return planned.entry == entry && planned.adjustment.step > reached_;
  });
}

template <class Visit>
void SteeredCourse::Merge(const std::vector<kernels::Adjustment>& stages, size_t first,
                          const std::vector<Planned>& ahead, const Visit& visit) {
  auto steered = ahead.begin();
  for (size_t i = first; i < stages.size(); ++i) {
    for (; steered != ahead.end() && steered->adjustment.step < stages[i].step; ++steered) visit(steered->adjustment);
    visit(stages[i]);
  }
  for (; steered != ahead.end(); ++steered) visit(steered->adjustment);
}

void SteeredCourse::Reach(int64_t step) {
  if (step <= reached_) return;
  reached_ = step;
  // Adjustments at exactly this step stay ahead: others at the same step may still precede them.
  const auto past = std::find_if(ahead_.begin(), ahead_.end(),
                                 [&](const Planned& planned) { return planned.adjustment.step >= step; });
  const std::vector<Planned> over(ahead_.begin(), past);
  ahead_.erase(ahead_.begin(), past);
  std::vector<kernels::Adjustment> stages;
  for (; stages_folded_ < point_->stages.size() && point_->stages[stages_folded_].step < step; ++stages_folded_) {
    stages.push_back(point_->stages[stages_folded_]);
  }
  Merge(stages, 0, over, [this](const auto& adjustment) { fold_.Add(adjustment); });
}

CourseFold SteeredCourse::With(const kernels::Adjustment* more) const {
  CourseFold fold = fold_;
  bool added = more == nullptr;
  Merge(point_->stages, stages_folded_, ahead_, [&](const auto& adjustment) {
    if (!added && adjustment.step > more->step) {
      fold.Add(*more);
      added = true;
    }
    fold.Add(adjustment);
  });
  if (!added) fold.Add(*more);
  return fold;
}

v1::RunSettings SteeredCourse::Before(int64_t step, const v1::RunSettings& change) const {
  CourseFold fold = fold_;
  Merge(point_->stages, stages_folded_, ahead_, [&](const kernels::Adjustment& adjustment) {
    if (adjustment.step <= step) fold.Add(adjustment);
  });
  v1::RunSettings before;
  for (const FieldDescriptor* number : AdjustableNumbers()) {
    if (change.GetReflection()->HasField(change, number)) SetNumber(&before, *number, fold.now[ParameterOf(*number)]);
  }
  return before;
}

SteeredCourse::Key SteeredCourse::KeyAt(int64_t step) const {
  const auto& begins = point_->stage_begins;
  int64_t stage = std::upper_bound(begins.begin(), begins.end(), step) - begins.begin();
  // A replay also has adjustments within the stages.
  for (const kernels::Adjustment& adjustment : point_->stages) stage += adjustment.step <= step ? 1 : 0;
  const kernels::Peaks& peaks = fold_.peaks.peaks();
  std::vector<double> numbers = {fold_.frequencies.highest(),
                                 peaks.rate,
                                 peaks.frequency,
                                 peaks.temperature,
                                 peaks.tangential,
                                 peaks.along,
                                 peaks.normal,
                                 fold_.now.wave.sweep_time,
                                 fold_.now.disorder.phase_spread,
                                 fold_.now.disorder.opposite_fraction};
  const auto add = [&](const auto& more) { numbers.insert(numbers.end(), more.begin(), more.end()); };
  add(fold_.frequencies.now());
  add(fold_.peaks.now());
  return {point_.get(), stage, stages_folded_, std::move(numbers)};
}

static void AddFault(const std::string& field, const std::string& description,
                     std::vector<v1::FieldViolation>* faults) {
  v1::FieldViolation& fault = faults->emplace_back();
  fault.set_field(field);
  fault.set_description(description);
}

/// Fields that may change under this wave, by the path that sets them.
static std::map<std::string, const FieldDescriptor*> Changeable(const FieldDescriptor* wave) {
  std::map<std::string, const FieldDescriptor*> fields;
  if (wave == nullptr) return fields;
  for (const FieldDescriptor* number : AdjustableNumbers()) {
    if (const std::string path = PathSet(*number, *wave); !path.empty()) fields[path] = number;
  }
  return fields;
}

RequestedAdjustment SteeredCourse::Ask(int64_t step, int64_t ramp_steps,
                                       const google::protobuf::RepeatedPtrField<v1::FieldChange>& asked) const {
  RequestedAdjustment result;
  result.change.set_step(step);
  result.change.set_ramp_steps(ramp_steps);
  v1::RunSettings& change = *result.change.mutable_change();
  const FieldDescriptor* wave = WaveAt(point_->at, step);
  const auto fields = Changeable(wave);
  std::vector<std::string> paths;
  std::map<std::string, std::string> path_of;  // by field name of the change
  for (const auto& [path, field] : fields) {
    paths.push_back(path);
    path_of[field->name()] = path;
  }
  for (const v1::FieldChange& one : asked) {
    const auto found = fields.find(one.field());
    if (found == fields.end()) {
      AddFault(one.field(), "cannot change in this run at that time" + schema::DidYouMean(one.field(), paths),
               &result.faults);
    } else if (change.GetReflection()->HasField(change, found->second)) {
      AddFault(one.field(), "is there twice; give each field once", &result.faults);
    } else {
      SetNumber(&change, *found->second, one.value());
    }
  }
  if (wave != nullptr) {
    // The rules for changes of stages apply here too.
    for (const BadChange& bad : BadChangesIn(point_->at, change, *wave)) {
      AddFault(path_of[bad.path], bad.description, &result.faults);
    }
  }
  result.before = Before(step, change);
  const kernels::Adjustment adjustment = ToAdjustment(result.change);
  if (!result.faults.empty() || !CourseFold::Concerns(adjustment)) return result;
  const CourseFold before = With(nullptr), after = With(&adjustment);
  const double frequency = after.frequencies.highest();
  result.warning = StepWarning(point_->at, after.peaks.peaks(), before.peaks.peaks());
  if (frequency <= before.frequencies.highest() || !IsTooFast(frequency, point_->time_step)) return result;
  AddFault(asked[0].field(), "its highest frequency of " + TooFastText(frequency, point_->time_step), &result.faults);
  return result;
}

}  // namespace gyrebox::study
