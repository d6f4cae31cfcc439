/// Audit of the time step: which points of a study are run once more with half of it, and with the converged solver
/// where the lagged one is taken against the rule.
#pragma once

#include <cstddef>
#include <set>
#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "study/stop.h"

namespace gyrebox::study {

/// Most work of an audit where a study does not say, as a fraction of that of the study: 0.15 where an axis varies the
/// amplitude or the frequency of the drive and has 5 values or more, else 0.
double DefaultAuditCost(const v1::StudySpec& spec);

/// How much the time step of a point may distort what its beads do, on a scale of its own, to put points in order.
/// A spinner at a rate w carries beads around it at a speed of order w. A step of first order moves a circling bead
/// along the tangent, so that it drifts outwards by v^2 dt / 2 in a unit of time. The drift only opens the bed where it
/// has room: the fraction of the area, 1 - packing / close packing, that the beads could still give way to. So it is
/// w^2 dt times that, w the highest peak rate in the course of a run. Infinite where the point takes the lagged solver
/// against the rule: its thermal averages are off whatever the step.
double StepRisk(const v1::StudySpec& at);

/// What an audit runs again.
struct AuditPlan {
  std::vector<size_t> points;  ///< places in Points(): those audited before, then by their risk, the highest first
  int trials = 0;              ///< of each of these points, the first ones
  double cost = 0;             ///< its work as a fraction of that of the study
  std::string why_none;        ///< why there are no points though max_cost is over 0; else empty
};

/// Plans the audit of a study: as many points as max_cost and max_points allow, those at the highest risk first, of
/// four trials, or of fewer, two at least, where the first point would be too dear otherwise. A point that is too dear
/// even so is passed over. Points at no risk are none of them.
/// @param audited places of the points that are audited already, which stay whatever the bounds are.
AuditPlan PlanAudit(const v1::StudySpec& spec, const std::set<size_t>& audited = {}, const Stop& stop = {});

}  // namespace gyrebox::study
