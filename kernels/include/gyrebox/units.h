/// Converts between the reduced units of the engine and laboratory units. All arguments and results are in SI units
/// unless they are called reduced: metre, second, kilogram, kelvin, tesla, radian.
#pragma once

#include <numbers>

namespace gyrebox::units {

/// Boltzmann constant, J/K; exact by the definition of the kelvin (International System of Units, 9th edition, 2019).
inline constexpr double kBoltzmann = 1.380649e-23;

/// Thermal energy k_B T, J.
constexpr double ThermalEnergy(double temperature) { return kBoltzmann * temperature; }

/// Translational drag of a sphere, kg/s: 3 pi viscosity diameter (Stokes' law; from memory).
constexpr double TranslationalDrag(double viscosity, double diameter) {
  return 3 * std::numbers::pi * viscosity * diameter;
}

/// Rotational drag of a sphere, N m s: pi viscosity diameter^3, which is 8 pi viscosity radius^3 (Kirchhoff's formula;
/// from memory).
constexpr double RotationalDrag(double viscosity, double diameter) {
  return std::numbers::pi * viscosity * diameter * diameter * diameter;
}

/// Diffusion coefficient of a drag: thermal energy over drag (Einstein's relation).
constexpr double Diffusion(double thermal_energy, double drag) { return thermal_energy / drag; }

/// The units of the engine in SI.
struct Scale {
  double length = 0;  ///< sigma, m
  double energy = 0;  ///< epsilon, J; also the unit of torque, N m
  double time = 0;    ///< tau = zeta_0 sigma^2 / epsilon, s
  double drag = 0;    ///< zeta_0, kg/s

  constexpr double Length(double reduced) const { return reduced * length; }
  constexpr double Time(double reduced) const { return reduced * time; }
  constexpr double Frequency(double reduced) const { return reduced / time; }  ///< Hz, of cycles/tau
  constexpr double Rate(double reduced) const { return reduced / time; }       ///< rad/s, of rad/tau
  constexpr double Torque(double reduced) const { return reduced * energy; }   ///< N m
  constexpr double ReducedLength(double metres) const { return metres / length; }
  constexpr double ReducedTime(double seconds) const { return seconds / time; }
  constexpr double ReducedFrequency(double hertz) const { return hertz * time; }
  constexpr double ReducedRate(double radians_per_second) const { return radians_per_second * time; }
  constexpr double ReducedTorque(double newton_metres) const { return newton_metres / energy; }
};

/// Scale in which the bead diameter is sigma, the bead's drag is zeta_0, and k_B T is the reduced temperature, which
/// must be over 0.
constexpr Scale ScaleOf(double diameter, double viscosity, double temperature, double reduced_temperature) {
  const double energy = ThermalEnergy(temperature) / reduced_temperature;
  const double drag = TranslationalDrag(viscosity, diameter);
  return {diameter, energy, drag * diameter * diameter / energy, drag};
}

/// Step-out rate of a bead with this magnetic moment in a rotating field, rad/s: m B / (8 pi viscosity radius^3). Above
/// it the bead slips behind the field (balance of torque and drag).
constexpr double StepOutRate(double moment, double field, double viscosity, double diameter) {
  return moment * field / RotationalDrag(viscosity, diameter);
}

/// Mason number, viscous over magnetic torque: rate over step-out rate. Definitions differ between texts; others use
/// the susceptibility and the squared field instead of a fixed moment.
constexpr double MasonNumber(double rate, double moment, double field, double viscosity, double diameter) {
  return rate / StepOutRate(moment, field, viscosity, diameter);
}

/// Rotational Peclet number: rate diameter^2 over the translational diffusion coefficient.
constexpr double PecletNumber(double rate, double diameter, double diffusion) {
  return rate * diameter * diameter / diffusion;
}

}  // namespace gyrebox::units
