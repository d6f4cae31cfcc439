/// Energy, stress and drive power: sums over the pairs of the lists.
#pragma once

#include "cuda/measure_memory.h"
#include "cuda/measured.h"
#include "cuda/passes.h"
#include "measure/pairs/distance.h"
#include "measure/pairs/pair_terms.h"

namespace gyrebox::kernels::cuda {

/// Nearest-image vector from bead i to bead j.
template <class Index>
GYREBOX_PASS Way WayOf(const BedView<Index>& bed, std::uint32_t i, std::uint32_t j) {
  const PositionVelocity *now = bed.Now(bed.beads), from = now[i], to = now[j];
  return WayBetween(from.x, from.y, to.x, to.y, bed.plan.side_x * 0x1p-32, bed.plan.side_y * 0x1p-32);
}

/// Calls visit(k, j) for each partner j of bead i, by its index k in the list, until it returns false. @return false if
/// it did.
template <class Index, class Visit>
GYREBOX_PASS bool ForListed(const BedView<Index>& bed, std::uint32_t i, const Visit& visit) {
  const std::uint32_t count = bed.plan.memory.counts[i];
  for (std::uint32_t k = 0; k < count; ++k) {
    if (!visit(k, PartnerOf(bed, k, i))) return false;
  }
  return true;
}

template <class Team, class Index>
GYREBOX_PASS void MeasureEnergeticsOf(Team& team, const BedView<Index>& bed, const StepNumbers& numbers,
                                      const PerSpinnerDriveNumbers* own_numbers, const MeasureMemory& memory,
                                      MeasuredSums& out) {
  const BedPlan& plan = bed.plan;
  const PositionVelocity* moving = bed.Next(bed.beads);
  const float* spin = bed.Next(bed.spin);
  const bool brownian = plan.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  const PairForce<double> force(plan.force);
  PairFriction<double> friction;
  friction.tangential = numbers.tangential;
  friction.normal = numbers.normal;
  friction.cutoff = plan.laws.friction.cutoff;
  friction.inverse_cutoff = 1 / friction.cutoff;
  friction.squared = plan.laws.friction.squared;
  const auto motion_of = [&](std::uint32_t i) { return Motion<double>{moving[i].vx, moving[i].vy, spin[i]}; };

  double sums[5];
  team.template Sum<5>(plan.n, memory.partials, sums, [&](std::uint32_t i, double(&terms)[5]) {
    const bool spinner = IsSpinner(bed.tag[i]), needs_torque = spinner && plan.rate_imposed;
    ForceSums forces;
    BalanceRow<double> row(plan.drag);
    ForListed(bed, i, [&](std::uint32_t, std::uint32_t j) {
      const Way way = WayOf(bed, i, j);
      if (way.squared == 0) return true;  // coincident beads have no direction
      const double r = Sqrt(way.squared), nx = way.dx / r, ny = way.dy / r;
      if (j < i && r < force.cutoff) forces.Add(force, nx, ny, r);
      if (needs_torque && !brownian) AddTurningFriction(friction, nx, ny, r, motion_of(j), row);
      return true;
    });
    terms[0] = forces.energy;
    terms[1] = forces.xx;
    terms[2] = forces.xy;
    terms[3] = forces.yy;
    if (needs_torque) {
      terms[4] = NeededTorque(row, motion_of(i)) * spin[i];
    } else if (spinner) {
      const float torque = brownian ? spin[i] * static_cast<float>(plan.drag.rotational)
                                    : DriveOf(plan, numbers, own_numbers, bed.tag[i]);
      terms[4] = static_cast<double>(torque) * spin[i];
    }
  });
  if (team.rank() == 0) {
    out.forces = {sums[0], sums[1], sums[2], sums[3]};
    out.power = sums[4];
  }
}

}  // namespace gyrebox::kernels::cuda
