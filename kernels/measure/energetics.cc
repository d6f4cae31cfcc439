#include "measure/energetics.h"

#include <algorithm>
#include <cmath>

#include "measure/pair_sums.h"

namespace gyrebox::kernels {
namespace {

std::vector<NearPair> PairsWithin(double reach, const Snapshot& snapshot, NearBeads& near) {
  std::vector<NearPair> pairs;
  near.Sort(snapshot.x, snapshot.y, snapshot.side_x, snapshot.side_y, reach);
  near.ForPairs([&](std::uint32_t a, std::uint32_t b, double dx, double dy, double r2) {
    if (r2 >= reach * reach || r2 == 0) return;  // two beads at one place have no direction
    const double r = std::sqrt(r2);
    pairs.push_back({near.id(a), near.id(b), dx / r, dy / r, r});
  });
  return pairs;
}

double PowerOfTorques(const Snapshot& snapshot) {
  double power = 0;
  for (std::size_t i = 0; i < snapshot.torque.size(); ++i) {
    power += static_cast<double>(snapshot.torque[i]) * static_cast<double>(snapshot.spin[i]);
  }
  return power;
}

double PowerOfRates(const Snapshot& snapshot, const DragSpec& drag, const std::vector<NearPair>& pairs) {
  std::vector<Motion<double>> motion;
  for (std::size_t i = 0; i < snapshot.x.size(); ++i) {
    motion.push_back({snapshot.vx[i], snapshot.vy[i], snapshot.spin[i]});
  }
  std::vector<BalanceRow<double>> rows(motion.size(), BalanceRow<double>(drag));
  AddTurningFriction(snapshot.friction, pairs.data(), pairs.size(), snapshot.spinner.data(), motion.data(),
                     rows.data());
  return PowerOfRows(motion.size(), snapshot.spinner.data(), motion.data(), rows.data());
}

}  // namespace

Energetics MeasureEnergetics(const Snapshot& snapshot, const RunSpec& spec, NearBeads& scratch) {
  const bool brownian = spec.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  const bool rate_imposed = spec.drive.quantity == DriveSpec::Quantity::kRate;
  const double reach = std::max(spec.force.cutoff, snapshot.friction.cutoff);
  const std::vector<NearPair> pairs = PairsWithin(reach, snapshot, scratch);
  const ForceSums sums = SumForces(spec.force, pairs.data(), pairs.size());
  const double power = rate_imposed ? PowerOfRates(snapshot, spec.drag, brownian ? std::vector<NearPair>() : pairs)
                                    : PowerOfTorques(snapshot);
  return EnergeticsOf(sums, power, static_cast<double>(snapshot.x.size()), snapshot.side_x * snapshot.side_y,
                      snapshot.temperature);
}

Energetics EnergeticsOf(const ForceSums& sums, double power, double n, double area, double temperature) {
  return {sums.energy / n, n * temperature / area + (sums.xx + sums.yy) / (2 * area),
          -sums.xx / area, -sums.xy / area,
          -sums.yy / area, power / n};
}

std::vector<Column> EnergeticsColumns() {
  const auto stress = [](const char* name, const char* part) {
    return Column{name, "epsilon/sigma^2",
                  std::string("Stress of the conservative forces, ") + part +
                      ": minus the sum over pairs of force times distance along these axes, over the area of the bed.",
                  1};
  };
  return {
      {"potential_energy", "epsilon", "Potential energy of the conservative forces per bead.", 1},
      {"pressure", "epsilon/sigma^2",
       "Pressure: number density times temperature, and the sum over pairs of conservative force times distance over "
       "twice the area of the bed.",
       1},
      stress("stress_xx", "part xx"),
      stress("stress_xy", "part xy"),
      stress("stress_yy", "part yy"),
      {"drive_power", "epsilon/tau",
       "Power put in by the drive per bead: torques on spinners times their rates of turning; where the rate is "
       "imposed, "
       "the torques that balance drag and friction.",
       1},
  };
}

void AppendTo(const Energetics& e, std::vector<double>& values) {
  values.insert(values.end(), {e.potential_energy, e.pressure, e.stress_xx, e.stress_xy, e.stress_yy, e.drive_power});
}

}  // namespace gyrebox::kernels
