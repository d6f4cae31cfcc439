/// From a study to its runs: axes x trials.
#pragma once

#include <cstddef>
#include <cstdint>
#include <map>
#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "study/stop.h"

namespace gyrebox::study {

/// One run of a study, not yet run.
struct PlannedRun {
  std::vector<double> axis_values;  ///< in the order of the axes
  int trial = 1;                    ///< from 1
  v1::Seeds seeds;
  bool audit = false;  ///< with half the time step, see audit.h
};

/// A run of an audit that a study has.
struct AuditedRun {
  std::vector<double> axis_values;
  int trial = 1;
};

/// Values of an axis, whether listed or made by a rule. The axis is sound.
std::vector<double> AxisValues(const v1::Axis& axis);

/// All combinations of the axes' values, the first axis slowest; one empty combination where there is no axis.
std::vector<std::vector<double>> Points(const v1::StudySpec& spec);

/// The study with the fields of its axes set to these values, and with the solver and the time step that follow from
/// them where it gives none. Where there are fewer of them than axes, the study's own
/// values hold for the last ones: a study that grew by an axis has its old runs there.
v1::StudySpec AtPoint(const v1::StudySpec& spec, const std::vector<double>& axis_values);

/// Time step of a point in tau: the one place that says it to the audit.
double StepOf(const v1::StudySpec& at);

/// A point as its audit runs it: with half its time step, and with the converged solver where it takes the lagged one
/// against the rule, whose error half the step does not show.
v1::StudySpec AsAudited(v1::StudySpec at);

/// The study as a run is done: at its point, with its time step.
v1::StudySpec AtRun(const v1::StudySpec& spec, const PlannedRun& run);

/// All runs in order: points as in Points(), the trials of a point next to each other. A study that has grown has the
/// same runs under other numbers: what a stored run is follows from its axis values, its trial and whether it audits.
/// Those of the audit, see PlanAudit(), come last. Trial t takes the base seed + t - 1 for those seeds that the study
/// varies.
/// @param audited runs of the audit that the study has already, which are left out.
std::vector<PlannedRun> Expand(const v1::StudySpec& spec, const Stop& stop = {},
                               const std::vector<AuditedRun>& audited = {});

/// Finds the points of a study by their values.
class PointOrder {
 public:
  explicit PointOrder(const v1::StudySpec& spec);

  /// Place in Points() of the point with these values, or of that with the nearest ones: values that were made by a
  /// rule may differ in their last bit from those that another machine made and stored.
  size_t Place(const std::vector<double>& axis_values) const;

 private:
  std::vector<std::map<double, size_t>> axes_;  ///< place of each value, by axis
};

}  // namespace gyrebox::study
