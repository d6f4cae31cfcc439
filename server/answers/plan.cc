#include "answers/plan.h"

#include <algorithm>

namespace gyrebox::analysis {

/// Imperfections that a laboratory cannot control, and settings that a simulation should not depend on.
constexpr const char* kNuisance[] = {"drive.disorder.", "thermal.", "bed.bead_count",   "bed.aspect_ratio",
                                     "dynamics.",       "start.",   "schedule.duration"};
constexpr const char* kNuisanceOfStage[] = {"temperature",  "amplitude_spread", "frequency_spread",
                                            "phase_spread", "jitter",           "opposite_fraction"};

static bool IsOfStage(const std::string& field) { return field.starts_with("schedule.stages["); }

static bool IsNuisance(const std::string& field) {
  const auto begins = [&](const char* prefix) { return field.starts_with(prefix); };
  const auto ends = [&](const char* name) { return field.ends_with(std::string(".") + name); };
  return std::any_of(std::begin(kNuisance), std::end(kNuisance), begins) ||
         (IsOfStage(field) && std::any_of(std::begin(kNuisanceOfStage), std::end(kNuisanceOfStage), ends));
}

static bool IsAmplitude(const std::string& field) { return field.ends_with(".amplitude"); }

/// Whether the last stage is the same for all values of an axis.
static bool LastStageStays(const StudyData& data, int axis) {
  for (const CurveOf& curve : CurvesAlong(data, axis)) {
    const auto& first = curve.points.front()->stages.back();
    for (const Point* point : curve.points) {
      if (point->stages.back().ramps || point->stages.back().bed_and_drive != first.bed_and_drive) return false;
    }
  }
  return true;
}

std::optional<Sweep> SweepOf(const std::vector<Stage>& stages) {
  size_t top = 0;
  for (size_t i = 1; i < stages.size(); ++i) {
    if (stages[i].amplitude > stages[top].amplitude) top = i;
  }
  Sweep sweep;
  for (size_t i = 0; i < stages.size(); ++i) {
    const bool rises = i <= top;
    if (i > 0 && (stages[i].amplitude >= stages[i - 1].amplitude) != rises &&
        stages[i].amplitude != stages[i - 1].amplitude) {
      return std::nullopt;
    }
    if (rises) sweep.up.push_back(i);
    if (i >= top) sweep.down.push_back(i);
  }
  if (stages.empty() || top == 0 || stages.back().amplitude > stages.front().amplitude ||
      stages[top].amplitude == stages.front().amplitude) {
    return std::nullopt;
  }
  return sweep;
}

static int AxisOfCurves(const StudyData& data) {
  const auto find = [&](const auto& wanted) {
    const auto found = std::find_if(data.axes.begin(), data.axes.end(), wanted);
    return found == data.axes.end() ? -1 : static_cast<int>(found - data.axes.begin());
  };
  const int drive = find([](const auto& axis) { return IsAmplitude(axis.field()) && !IsOfStage(axis.field()); });
  const int meant = find([](const auto& axis) { return !IsNuisance(axis.field()); });
  return drive >= 0 ? drive : std::max(meant, data.axes.empty() ? -1 : 0);
}

Plan PlanOf(const StudyData& data) {
  Plan plan;
  plan.x_axis = AxisOfCurves(data);
  if (plan.x_axis >= 0) {
    const std::string& field = data.axes[plan.x_axis].field();
    plan.x_is_drive = IsAmplitude(field) && !IsOfStage(field);
  }
  for (int i = 0; i < static_cast<int>(data.axes.size()); ++i) {
    const std::string& field = data.axes[i].field();
    if (IsNuisance(field)) plan.nuisance_axes.push_back(i);
    const bool staged = data.spec().schedule().stages_size() > 1;
    if (staged && IsAmplitude(field) && !plan.memory_axis && LastStageStays(data, i)) plan.memory_axis = i;
  }
  for (const Point& point : data.points) {
    plan.stages = plan.stages || !SwitchesOf(point.stages).empty();
    plan.up_and_down = plan.up_and_down || SweepOf(point.stages);
  }
  return plan;
}

}  // namespace gyrebox::analysis
