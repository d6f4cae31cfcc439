/// Audit of the time step: which points of a study are rerun with half the step, and with the converged solver where
/// the study gives the lagged one against the rule.
#pragma once

#include <cstddef>
#include <set>
#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "study/stop.h"

namespace gyrebox::study {

/// Default of audit.max_cost, as a fraction of the work of the study: 0.15 if an axis varies the amplitude or the
/// frequency of the drive and has at least 5 values, else 0.
double DefaultAuditCost(const v1::StudySpec& spec);

/// Risk that the time step distorts the motion at a point, on an arbitrary scale that only ranks points.
/// A spinner that turns at a rate w carries beads around it at a speed v of order w. A first-order step moves a
/// circling bead along the tangent, so that the bead drifts outwards by v^2 dt / 2 per unit of time. The drift opens
/// the bed only where the beads can still give way: in a fraction 1 - packing / close packing of the area. The risk is
/// therefore w^2 dt times this fraction, with w the highest peak rate during a run. It is infinite if the point uses
/// the lagged solver against the rule, which biases thermal averages at any step.
double StepRisk(const v1::StudySpec& at);

/// Points and realizations that an audit reruns.
struct AuditPlan {
  std::vector<size_t> points;  ///< indices in Points(): those already audited, then by decreasing risk
  int trials = 0;              ///< realizations per point, the first ones
  double cost = 0;             ///< work as a fraction of that of the study
  std::string why_none;        ///< why no point is audited although max_cost > 0; else empty
};

/// Plans the audit of a study: as many points as max_cost and max_points allow, in order of decreasing risk, with up to
/// four realizations each. If the first point would exceed the budget, all points get fewer realizations, at least two.
/// A point that still exceeds it is skipped. Points with zero risk are never audited.
/// @param audited indices of the points that are already audited; they stay in the plan whatever the bounds.
AuditPlan PlanAudit(const v1::StudySpec& spec, const std::set<size_t>& audited = {}, const Stop& stop = {});

}  // namespace gyrebox::study
