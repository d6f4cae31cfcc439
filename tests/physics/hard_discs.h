/// Known results for fluids of hard discs by packing fraction phi, and the discs equivalent to a soft pair energy.
#pragma once

#include <cmath>
#include <numbers>

#include "model/force.h"

namespace gyrebox {

/// Integral of (1 - exp(-U/kT)) weight(r) from 0 to the reach of the force, by Simpson's rule.
template <class Weight>
double HollowIntegral(const kernels::ForceSpec& spec, double temperature, Weight weight) {
  const kernels::PairForce<double> force(spec);
  constexpr int kPieces = 20000;  // even
  const double h = spec.cutoff / kPieces;
  double sum = weight(0.0);  // the energy is infinite at 0 and zero at the cut-off
  for (int k = 1; k < kPieces; ++k) {
    const double r = k * h;
    sum += (k % 2 == 1 ? 4 : 2) * (1 - std::exp(-force.Energy(r) / temperature)) * weight(r);
  }
  return sum * h / 3;
}

/// Diameter of the hard discs equivalent to beads of a steep repulsion (Barker & Henderson, J. Chem. Phys. 47, 4714
/// (1967)), sigma.
inline double DiscDiameter(const kernels::ForceSpec& force, double temperature) {
  return HollowIntegral(force, temperature, [](double) { return 1.0; });
}

/// Second virial coefficient in two dimensions, sigma^2.
inline double SecondVirialCoefficient(const kernels::ForceSpec& force, double temperature) {
  return std::numbers::pi * HollowIntegral(force, temperature, [](double r) { return r; });
}

/// Compressibility factor Z = p/(rho kT) of hard discs to ten virial coefficients: B3 and B4 exact, the others from
/// Clisby & McCoy, J. Stat. Phys. 122, 15 (2006), table 1. The truncation error is below 2e-4 up to phi = 0.3.
inline double VirialSeries(double phi) {
  const double pi = std::numbers::pi, root = std::numbers::sqrt3;
  const double over_powers_of_b2[] = {1,          1,         4.0 / 3 - root / pi, 2 - 4.5 * root / pi + 10 / (pi * pi),
                                      0.33355604, 0.1988425, 0.1148728,           0.0649930,
                                      0.0362193,  0.0199537};
  double z = 0, power = 1;
  for (const double b : over_powers_of_b2) {
    z += b * power;
    power *= 2 * phi;
  }
  return z;
}

/// Closed form of Z of a hard-disc fluid, accurate to a few thousandths up to phi = 0.65 (Liu, arXiv:2010.10624).
inline double ClosedForm(double phi) {
  return (1 + phi * phi / 8 + std::pow(phi, 3) / 18 - 4 * std::pow(phi, 4) / 21) / ((1 - phi) * (1 - phi));
}

/// Finite-size deficit of Z at a fixed number of discs: p(N) = p - kT rho^2 p''/(2 N p'), because the pressure averaged
/// over beds whose number fluctuates is that of the infinite bed (Lebowitz & Percus, Phys. Rev. 124, 1673 (1961); from
/// memory). Uses the closed form.
inline double LackOfFiniteBed(double phi, double n_beads) {
  const double h = 1e-3;
  const auto pressure = [](double at) { return at * ClosedForm(at); };
  const double slope = (pressure(phi + h) - pressure(phi - h)) / (2 * h);
  const double bend = (pressure(phi + h) - 2 * pressure(phi) + pressure(phi - h)) / (h * h);
  return phi * bend / (2 * n_beads * slope);
}

}  // namespace gyrebox
