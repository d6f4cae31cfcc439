#include "study/validation/check_size.h"

#include <algorithm>
#include <string>
#include <vector>

#include "schema/number_text.h"

namespace gyrebox::study {

using schema::NumberText;

double CountValues(const v1::Axis& axis) {
  const double count = axis.has_linear()        ? axis.linear().count()
                       : axis.has_logarithmic() ? axis.logarithmic().count()
                                                : axis.values_size();
  return std::max(1.0, count);
}

static double CountPoints(const v1::StudySpec& spec) {
  double points = 1;
  for (const v1::Axis& axis : spec.axes()) points *= CountValues(axis);
  return points;
}

static size_t CountFields(const v1::RunSettings& changes) {
  std::vector<const google::protobuf::FieldDescriptor*> given;
  changes.GetReflection()->ListFields(changes, &given);
  return given.size();
}

static void CheckRunCount(const v1::StudySpec& spec, double points, Violations* violations) {
  const double count = points * std::max(1, spec.trials().count());
  if (count <= kMaxRuns) return;
  violations->Add(
      spec.axes_size() > 0 ? "axes" : "trials.count",
      "axes and trials make " + NumberText(count) + " runs, which is too many; at most " + NumberText(kMaxRuns));
}

static void CheckWork(const v1::StudySpec& spec, double points, Violations* violations) {
  const auto& schedule = spec.schedule();
  size_t changes = schedule.steering().adjustments_size();
  for (const v1::Stage& stage : schedule.stages()) changes += CountFields(stage.step()) + CountFields(stage.ramp());
  const double stages = schedule.stages_size(), each = 1 + stages + static_cast<double>(changes);
  if (points * each <= kMaxWork) return;
  violations->Add(spec.axes_size() > 0 ? "axes" : "schedule",
                  NumberText(points) + " points, each of " + NumberText(stages) + " stages with " +
                      std::to_string(changes) +
                      " changes in all, are too much: points times (1 + stages + changes) is " +
                      NumberText(points * each) + "; at most " + NumberText(kMaxWork) +
                      ". Give fewer values of axes, fewer schedule.stages, or fewer changes in them");
}

void CheckSize(const v1::StudySpec& spec, Violations* violations) {
  if (spec.axes_size() > kMaxAxes) {
    violations->Add("axes",
                    std::to_string(spec.axes_size()) + " axes are too many; at most " + std::to_string(kMaxAxes));
  }
  const int stages = spec.schedule().stages_size();
  if (stages > kMaxStages) {
    violations->Add("schedule.stages",
                    std::to_string(stages) + " stages are too many; at most " + std::to_string(kMaxStages));
  }
  if (!violations->empty()) return;
  const double points = CountPoints(spec);
  CheckRunCount(spec, points, violations);
  if (violations->empty()) CheckWork(spec, points, violations);
}

void CheckSent(const v1::StudySpec& spec, Violations* violations) {
  // FillDefaults() leaves an empty message, so has_steering() would not do.
  if (spec.schedule().steering().ByteSizeLong() > 0) {
    violations->Add("schedule.steering", "is made of a run's journal; leave it out");
  }
  const size_t bytes = spec.ByteSizeLong();
  if (bytes > kMaxSpecBytes) {
    violations->Add(
        "spec", std::to_string(bytes) + " bytes are too many for a study; at most " + std::to_string(kMaxSpecBytes));
  }
}

}  // namespace gyrebox::study
