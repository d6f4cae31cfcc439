#include "measure/pairs/energetics.h"

#include <algorithm>
#include <cstdint>

#include "measure/blocks.h"
#include "measure/pairs/pair_sums.h"

namespace gyrebox::kernels {
namespace {

// Passes the pairs of a bed to the laws in batches.
class PairSums {
 public:
  PairSums(const Snapshot& snapshot, const ForceSpec& force, bool with_friction)
      : snapshot_(snapshot), force_(force), with_friction_(with_friction) {}

  /// @param first,last ranks of the first bead of the pairs, the last not included.
  void Measure(double reach, const CellList& near, std::uint32_t first, std::uint32_t last) {
    const double reach_squared = reach * reach;
    near.ForPairs(first, last, [&](std::uint32_t a, std::uint32_t b, double dx, double dy, double r2) {
      const int at = pairs_.size;
      first_[at] = a;
      second_[at] = b;
      pairs_.dx[at] = dx;
      pairs_.dy[at] = dy;
      pairs_.squared[at] = r2;
      // Which pairs are near is unpredictable, so the code writes all of them and keeps only those. Two coincident
      // beads have no direction.
      pairs_.size += static_cast<int>(r2 < reach_squared) & static_cast<int>(r2 > 0);
      if (pairs_.size == PairBatch::kCapacity) HandOn(near);
    });
    HandOn(near);
    AddPowerOfFriction(snapshot_.friction, turning_, power_);
  }

  const ForceSums& forces() const { return forces_; }
  double power_of_friction() const { return power_; }

 private:
  void HandOn(const CellList& near) {
    AddForces(force_, pairs_, forces_);
    for (int i = 0; with_friction_ && i < pairs_.size; ++i) {
      const std::uint32_t a = near.id(first_[i]), b = near.id(second_[i]);
      AddTurning(a, b, pairs_.dx[i], pairs_.dy[i], pairs_.squared[i]);
      AddTurning(b, a, -pairs_.dx[i], -pairs_.dy[i], pairs_.squared[i]);
    }
    pairs_.size = 0;
  }

  void AddTurning(std::uint32_t own, std::uint32_t other, double dx, double dy, double squared) {
    const int at = turning_.ways.size;
    turning_.ways.dx[at] = dx;
    turning_.ways.dy[at] = dy;
    turning_.ways.squared[at] = squared;
    turning_.vx[at] = snapshot_.vx[own];
    turning_.vy[at] = snapshot_.vy[own];
    turning_.spin[at] = snapshot_.spin[own];
    turning_.other_vx[at] = snapshot_.vx[other];
    turning_.other_vy[at] = snapshot_.vy[other];
    turning_.other_spin[at] = snapshot_.spin[other];
    turning_.ways.size += snapshot_.spinner[own];
    if (turning_.ways.size < PairBatch::kCapacity) return;
    AddPowerOfFriction(snapshot_.friction, turning_, power_);
    turning_.ways.size = 0;
  }

  const Snapshot& snapshot_;
  const ForceSpec& force_;
  const bool with_friction_;
  PairBatch pairs_;
  std::uint32_t first_[PairBatch::kCapacity], second_[PairBatch::kCapacity];  // ranks of the pairs
  TurningBatch turning_;
  ForceSums forces_;
  double power_ = 0;
};

double PowerOfTorques(const Snapshot& snapshot) {
  double power = 0;
  for (std::size_t i = 0; i < snapshot.torque.size(); ++i) {
    power += static_cast<double>(snapshot.torque[i]) * static_cast<double>(snapshot.spin[i]);
  }
  return power;
}

}  // namespace

Energetics MeasureEnergetics(const Snapshot& snapshot, const RunSpec& spec, CellList& scratch) {
  const bool brownian = spec.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  const bool rate_imposed = spec.drive.quantity == DriveSpec::Quantity::kRate;
  const double reach = std::max(spec.force.cutoff, snapshot.friction.cutoff);
  scratch.Sort(snapshot.x, snapshot.y, snapshot.side_x, snapshot.side_y, reach);
  struct Sums {
    ForceSums forces;
    double power_of_friction = 0;
  } sums;
  const auto blocks = SumsOfBlocks(scratch.size(), [&](std::uint32_t first, std::uint32_t last) {
    PairSums pairs(snapshot, spec.force, rate_imposed && !brownian);
    pairs.Measure(reach, scratch, first, last);
    return Sums{pairs.forces(), pairs.power_of_friction()};
  });
  for (const Sums& block : blocks) {
    sums.forces.Add(block.forces);
    sums.power_of_friction += block.power_of_friction;
  }
  const std::size_t n = snapshot.x.size();
  const double power =
      rate_imposed ? PowerOfDrag(spec.drag, n, snapshot.spinner.data(), snapshot.spin.data()) + sums.power_of_friction
                   : PowerOfTorques(snapshot);
  return EnergeticsOf(sums.forces, power, static_cast<double>(n), snapshot.side_x * snapshot.side_y,
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
       "imposed, the torques that balance drag and friction. Of the motion in the step from this moment on, whose "
       "drive is that of its beginning or, of first order and of a midpoint step, of its middle; where a step keeps "
       "what "
       "noise makes of the motion apart (brownian, lagged of second order), without that.",
       1},
  };
}

void AppendTo(const Energetics& e, std::vector<double>& values) {
  values.insert(values.end(), {e.potential_energy, e.pressure, e.stress_xx, e.stress_xy, e.stress_yy, e.drive_power});
}

}  // namespace gyrebox::kernels
