#include "study/grow.h"

#include <algorithm>
#include <functional>
#include <set>

#include "schema/field_path.h"
#include "study/number_at.h"
#include "study/validation/check_size.h"

namespace gyrebox::study {

constexpr int kMaxTrials = 1000;

static int AxisOver(const v1::StudySpec& spec, const std::string& field) {
  for (int i = 0; i < spec.axes_size(); ++i) {
    if (spec.axes(i).field() == field) return i;
  }
  return -1;
}

/// Value of a number field in the study itself; absent if it has none.
static std::optional<double> OwnValue(const v1::StudySpec& spec, const std::string& path) {
  const auto* field = schema::FindField(*spec.GetDescriptor(), path);
  if (field == nullptr || !schema::IsNumber(*field)) return std::nullopt;
  return NumberAt(spec, path);
}

static v1::FieldViolation Fault(const std::string& field, const std::string& description) {
  v1::FieldViolation fault;
  fault.set_field(field);
  fault.set_description(description);
  return fault;
}

static std::string AxisPath(int i) { return "axes[" + std::to_string(i) + "]"; }

std::vector<v1::FieldViolation> CheckGrowth(const v1::StudySpec& spec, const v1::GrowStudyRequest& request) {
  std::vector<v1::FieldViolation> faults;
  const int more = request.add_trials(), there = spec.trials().count();
  if (more < 0 || more >= kMaxTrials || there + more > kMaxTrials) {
    faults.push_back(Fault("add_trials", std::to_string(more) + " trials cannot be added to " + std::to_string(there) +
                                             "; at least 0 and at most " + std::to_string(kMaxTrials - there)));
  }
  if (more == 0 && request.axes().empty()) {
    faults.push_back(Fault("add_trials", "is 0 and there are no axes; give trials to add, or axes with values to add"));
  }
  if (request.axes_size() > kMaxAxes) {
    faults.push_back(Fault("axes", std::to_string(request.axes_size()) + " axes are too many; a study has at most " +
                                       std::to_string(kMaxAxes)));
    return faults;
  }
  for (int i = 0; i < request.axes_size(); ++i) {
    const std::string& path = request.axes(i).field();
    const bool is_number = schema::FindField(*spec.GetDescriptor(), path) != nullptr;
    if (!is_number || AxisOver(spec, path) >= 0 || NumberAt(spec, path)) continue;
    faults.push_back(Fault(AxisPath(i) + ".field", path +
                                                       " has no value in this study, so the runs there are have none; "
                                                       "an axis over it takes a study of its own"));
  }
  return faults;
}

/// Appends the values of `from` that `to` lacks.
static void AddMissing(const std::vector<double>& from, std::vector<double>* to) {
  const std::set<double> there(to->begin(), to->end());
  std::copy_if(from.begin(), from.end(), std::back_inserter(*to), [&](double value) { return !there.contains(value); });
}

static void SetValues(const std::vector<double>& values, v1::Axis* axis) {
  axis->clear_spacing();
  axis->mutable_values()->Assign(values.begin(), values.end());
}

/// Existing values of a field, to which a request's axis adds.
static std::vector<double> ValuesThere(const v1::StudySpec& spec, const std::string& field) {
  if (const int own = AxisOver(spec, field); own >= 0) return AxisValues(spec.axes(own));
  if (const auto value = OwnValue(spec, field)) return {*value};
  return {};
}

v1::StudySpec AsAsked(const v1::StudySpec& spec, const v1::GrowStudyRequest& request) {
  v1::StudySpec asked = spec;
  asked.clear_axes();
  for (const v1::Axis& given : request.axes()) {
    v1::Axis& axis = *asked.add_axes() = given;
    if (axis.values().empty() || axis.spacing_case() != v1::Axis::SPACING_NOT_SET) continue;
    std::vector<double> values(axis.values().begin(), axis.values().end());
    AddMissing(ValuesThere(spec, given.field()), &values);
    SetValues(values, &axis);
  }
  for (const v1::Axis& axis : spec.axes()) {
    if (AxisOver(asked, axis.field()) < 0) *asked.add_axes() = axis;
  }
  if (CheckGrowth(spec, request).empty()) {
    asked.mutable_trials()->set_count(spec.trials().count() + request.add_trials());
  }
  return asked;
}

/// Merges new values: sorted in if the existing ones ascend or descend, else appended.
static std::vector<double> Merged(std::vector<double> there, const std::vector<double>& more) {
  const bool up = std::is_sorted(there.begin(), there.end());
  const bool down = std::is_sorted(there.begin(), there.end(), std::greater<>());
  AddMissing(more, &there);
  if (up) {
    std::sort(there.begin(), there.end());
  } else if (down) {
    std::sort(there.begin(), there.end(), std::greater<>());
  }
  return there;
}

v1::StudySpec Grown(const v1::StudySpec& spec, const v1::GrowStudyRequest& request) {
  v1::StudySpec grown = spec;
  grown.mutable_trials()->set_count(spec.trials().count() + request.add_trials());
  for (v1::Axis& axis : *grown.mutable_axes()) SetValues(AxisValues(axis), &axis);
  for (const v1::Axis& given : request.axes()) {
    std::vector<double> values = ValuesThere(spec, given.field());
    if (const int own = AxisOver(grown, given.field()); own >= 0) {
      SetValues(Merged(values, AxisValues(given)), grown.mutable_axes(own));
      continue;
    }
    AddMissing(AxisValues(given), &values);
    v1::Axis& axis = *grown.add_axes();
    axis.set_field(given.field());
    SetValues(values, &axis);
  }
  return grown;
}

/// Path in the request that corresponds to a path in the checked study.
static std::string PathInRequest(const std::string& path, const v1::StudySpec& checked,
                                 const v1::GrowStudyRequest& request) {
  if (path == "trials.count") return "add_trials";
  for (int i = 0; i < checked.axes_size(); ++i) {
    if (!path.starts_with(AxisPath(i))) continue;
    const std::string& field = checked.axes(i).field();
    if (i < request.axes_size() && request.axes(i).field() == field) return path;
    for (int k = 0; k < request.axes_size(); ++k) {
      if (request.axes(k).field() == field) return AxisPath(k) + path.substr(AxisPath(i).size());
    }
    return field;
  }
  return path;
}

std::vector<v1::FieldViolation> InRequest(const std::vector<v1::FieldViolation>& violations,
                                          const v1::StudySpec& checked, const v1::GrowStudyRequest& request) {
  std::vector<v1::FieldViolation> faults = violations;
  for (v1::FieldViolation& fault : faults) fault.set_field(PathInRequest(fault.field(), checked, request));
  return faults;
}

std::vector<double> ValuesOfOldRuns(const v1::StudySpec& spec, const v1::StudySpec& grown) {
  std::vector<double> values;
  for (int i = spec.axes_size(); i < grown.axes_size(); ++i) values.push_back(grown.axes(i).values(0));
  return values;
}

std::vector<PlannedRun> AddedRuns(const v1::StudySpec& spec, const v1::StudySpec& grown,
                                  std::vector<AuditedRun> audited, const Stop& stop) {
  std::vector<std::set<double>> there;
  for (const v1::Axis& axis : spec.axes()) {
    const auto values = AxisValues(axis);
    there.emplace_back(values.begin(), values.end());
  }
  const auto old_values = ValuesOfOldRuns(spec, grown);
  for (const double value : old_values) there.push_back({value});
  for (AuditedRun& run : audited) run.axis_values.insert(run.axis_values.end(), old_values.begin(), old_values.end());
  auto runs = Expand(grown, stop, audited);
  std::erase_if(runs, [&](const PlannedRun& run) {
    if (run.audit) return false;
    bool is_there = run.trial <= spec.trials().count();
    for (size_t i = 0; i < there.size(); ++i) is_there = is_there && there[i].contains(run.axis_values[i]);
    return is_there;
  });
  return runs;
}

static std::string Counted(int count, const std::string& noun) {
  return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

std::string GrowthText(const v1::StudySpec& spec, const v1::StudySpec& grown) {
  std::string text;
  const auto add = [&](int count, const std::string& noun, const std::string& of) {
    if (count > 0) text += (text.empty() ? "" : ", ") + Counted(count, noun) + of;
  };
  add(grown.trials().count() - spec.trials().count(), "trial", "");
  for (int i = 0; i < grown.axes_size(); ++i) {
    const auto before = i < spec.axes_size() ? AxisValues(spec.axes(i)).size() : size_t{1};
    add(grown.axes(i).values_size() - static_cast<int>(before), "value", " of " + grown.axes(i).field());
  }
  return text;
}

}  // namespace gyrebox::study
