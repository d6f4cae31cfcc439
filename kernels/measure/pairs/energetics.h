/// Energy, pressure and stress of the conservative forces, and the power input of the drive.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/pairs/cell_list.h"
#include "measure/pairs/pair_terms.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

/// A is the area of the bed, f the repulsive force of a pair, r = (x, y) the vector from one bead to the other.
struct Energetics {
  double potential_energy = 0;  ///< epsilon, per bead
  double pressure = 0;          ///< epsilon/sigma^2: beads kT / A + sum over pairs of f r / (2 A)
  double stress_xx = 0;         ///< epsilon/sigma^2: -sum over pairs of f x x / (r A); negative where compressed
  double stress_xy = 0, stress_yy = 0;
  double drive_power = 0;  ///< epsilon/tau, per bead: torques on spinners times their spins
};

/// The torque of an imposed spin balances rotational drag and friction with all neighbours.
/// @param scratch memory to use.
Energetics MeasureEnergetics(const Snapshot& snapshot, const RunSpec& spec, CellList& scratch);

/// From the sums over all pairs, and the power of the drive. @param area of the bed, sigma^2.
Energetics EnergeticsOf(const ForceSums& sums, double power, double n_beads, double area, double temperature);

/// Columns of an Energetics.
std::vector<Column> EnergeticsColumns();
/// Appends the values in the order of EnergeticsColumns().
void AppendTo(const Energetics& energetics, std::vector<double>& values);

}  // namespace gyrebox::kernels
