/// The time step that a run needs, from what it drives, presses and shakes.
#pragma once

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// The strongest that a run comes to, over its stages, ramps, modulation and spreads.
struct Peaks {
  double rate = 0;         ///< of a spinner, rad/tau; where torques are imposed: the torque over the rotational drag
  double frequency = 0;    ///< fastest of its waves, cycles/tau
  double temperature = 0;  ///< epsilon
};

/// What sets a step.
enum class StepLimit {
  kCircling,  ///< beads that the drive moves round each other
  kWave,      ///< the wave of the drive
  kContact,   ///< the stiffest contacts
  kNoise,     ///< thermal motion in contacts
  kLargest,   ///< none of these: the largest step that is taken at all
};

struct StepChoice {
  double step = 0;  ///< tau
  StepLimit limit = StepLimit::kLargest;
};

/// With g = gamma_t w(1) (brownian: the swirl times w(1)), zeta the background drag, and dt the step:
/// - Circling. Two beads in touch that turn at a rate W circle at omega = W 2 g / (zeta + 2 g), exact for a pair alone
///   (brownian: W 2 g / zeta). A step along the motion leads off the circle: of first order, by a growth of the
///   distance of omega (omega dt) / 2 a tau, which has to stay under kDrift; of second order the error is (omega dt)^2,
///   and omega dt has to stay under kTurn.
/// - Wave: 2 pi f dt under kPhase.
/// - Contact. Where forces balance the hardest push, f(r) = g W + kThermalReach kT / lambda, contacts have the
/// stiffness
///   k = f'(r). A crystal of them has modes up to 6 k, and drags against these of zeta + 6 gamma_n w(r) (brownian:
///   zeta): a = 6 k dt / drag must be under the limit of the step, 1 of second order and 2 of first, by the share
///   kMargin.
/// - Noise. At f'(r) where the energy of a pair is kT, the variance of places is off by a^2 / 2 of second order and by
///   a / 2 of first (model/two_steps.h): under kBias.
/// - Largest: kLargest, which is what dense beds under weak drives were measured with.
/// kTurn and kDrift were set by sizes of domains at packing 0.50 and 135 rad/tau, which hold still at 1e-4 of second
/// order and at 2.5e-5 of first; kPhase, kMargin, and kBias are choices.
/// A converged step with noise is a midpoint step: as of second order.
struct StepConstants {
  double turn = 0.0125, drift = 0.12, phase = 0.1, margin = 0.5, bias = 0.01, thermal_reach = 8, largest = 5e-4;
};

/// @return the largest step that keeps to all of them, and the one that set it.
StepChoice ChooseStep(const RunSpec& spec, const Peaks& peaks, const StepConstants& constants = {});

/// Temperature up to which a run may be lagged: above, its sweeps leave out a thermal drift that matters. Undriven beds
/// of packing 0.40 had 1.01(5) times the energy of Boltzmann at kT = 0.002, but 1.09(1) at 0.5, whatever the step.
inline constexpr double kHottestLagged = 0.01;

}  // namespace gyrebox::kernels
