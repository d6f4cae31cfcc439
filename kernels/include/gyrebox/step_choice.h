/// Time step of a run, from its drive, contacts and noise; and whether noise and friction allow the lagged solver.
#pragma once

#include <array>
#include <string>

#include "gyrebox/run_spec.h"
#include "gyrebox/settings.h"

namespace gyrebox::kernels {

/// Peak values over a run, including its stages, ramps, modulation, spreads and live adjustments.
struct Peaks {
  double rate = 0;         ///< of a spinner, rad/tau; where torques are imposed: the torque over the rotational drag
  double frequency = 0;    ///< fastest of its waves, cycles/tau
  double temperature = 0;  ///< epsilon
  double tangential = 0;   ///< largest pair friction across the line of centres, zeta_0
  double along = 0;        ///< largest pair friction along it, zeta_0
  double normal = 0;       ///< smallest of these
};

/// Folds a run's peaks over its adjustments, in the order in which they take effect.
class PeakFold {
 public:
  /// Starts from the drive, temperature and friction of a spec; its adjustments are not added.
  explicit PeakFold(const RunSpec& spec);
  /// A ramp counts with both ends.
  void Add(const Adjustment& adjustment);
  /// Whether an adjustment may affect the peaks.
  static bool Concerns(const Adjustment& adjustment);
  const Peaks& peaks() const { return peaks_; }
  /// Current values of the numbers that the peaks derive from.
  std::array<double, 12> now() const;

 private:
  void Count(const Settings& settings);

  Settings now_;
  double per_torque_;  ///< rate of a free spinner per unit of imposed drive
  Peaks peaks_;
};

/// Peaks over the whole course of a run.
Peaks PeaksOf(const RunSpec& spec);

/// Largest thermal kick of a bead in one step, in standard deviations for a bead under background drag alone (pair
/// friction reduces it). A free bead exceeds it once in 7e7 kicks.
inline constexpr double kLargestKick = 6;

/// Criterion that limits the step.
enum class StepLimit {
  kCircling,  ///< beads that the drive moves round each other
  kWave,      ///< the wave of the drive
  kContact,   ///< the stiffest contacts
  kNoise,     ///< thermal motion in contacts
  kKick,      ///< the largest move of a free bead in one step
  kLargest,   ///< none of these: the largest step allowed
};

struct StepChoice {
  double step = 0;  ///< tau
  StepLimit limit = StepLimit::kLargest;
};

/// In words, such as "beads that the drive moves round each other".
std::string InWords(StepLimit limit);

/// With g = gamma_t w(1) (Brownian: transverse_coupling times w(1)), zeta the background drag, and dt the step:
/// - Circling. Two touching beads that turn at a rate W circle each other at omega = W 2 g / (zeta + 2 g), exact for an
///   isolated pair (Brownian: W 2 g / zeta). A step along the motion leads off the circle. At first order the distance
///   grows by omega (omega dt) / 2 per tau, which must stay below `drift`; at second order the error is (omega dt)^2,
///   and omega dt must stay below `turn`. In a dense bed neighbours press a pair back together: from `loose_packing` to
///   `dense_packing` the drift limit grows linearly by the factor `drift_pressed`.
/// - Wave. 2 pi f dt must stay below `phase`.
/// - Contact. Where forces balance the hardest push, f(r) = g W + thermal_reach kT / lambda, contacts have the
///   stiffness k = f'(r). A crystal of them has modes up to 6 k, against drags of zeta + 6 gamma_n w(r) (Brownian:
///   zeta). a = 6 k dt / drag must stay below `margin` times the stability limit, 1 at second order and 2 at first.
/// - Noise. With f'(r) where the energy of a pair is kT, the variance of positions is off by a^2 / 2 at second order
///   and by a / 2 at first (model/two_steps.h), which must stay below `bias`.
/// - Kick. The largest kick of a free bead, kLargestKick sqrt(2 kT dt / zeta), must stay below `kick`, sigma.
/// - Largest. `largest` is the step at which dense beds under weak drives were measured.
/// Measured: `turn` from mean domain sizes at packing 0.50 to 0.60, 0.5 and 2 cycles/tau and 20 to 300 rad/tau, which
/// equal those at a quarter of the step; at packing 0.70 twice this step changed sizes and stopped runs. `drift` from
/// domain sizes at first order, which were a fifth too small at packing 0.50 with 0.12. `drift_pressed` from those at
/// packing 0.70, which stay unchanged up to 60 rad/tau at 5e-4. Chosen: the others.
/// Live runs depend on these numbers: a change of them, or of kHottestLagged, needs a new version of the rule
/// (`step_rule` of the schema) beside this one. A converged step with noise is a midpoint step and counts as second
/// order.
struct StepConstants {
  double turn = 0.0125, drift = 0.03;
  double loose_packing = 0.55, dense_packing = 0.70, drift_pressed = 14.8;
  double phase = 0.1, margin = 0.5, bias = 0.01, thermal_reach = 8, kick = 0.2, largest = 5e-4;
};

/// The largest step that meets all criteria, and the one that limits it. @param packing area fraction covered by discs
/// of diameter 1 sigma.
StepChoice ChooseStep(const RunSpec& spec, const Peaks& peaks, double packing, const StepConstants& constants = {});

/// Whether the hardest push of the contact criterion presses two beads closer together than a distance, sigma.
bool PressesCloserThan(double distance, const RunSpec& spec, const Peaks& peaks);

/// Cost of a second-order lagged or Brownian step relative to a first-order one, on a GPU (tests/bench/RESULTS.md).
inline constexpr double kSecondOrderCost = 1.3;

/// The order that completes a run with less work, each at its own largest step. The cost of converged steps is that of
/// their solves; they are always second order.
DynamicsSpec::Step ChooseOrder(const RunSpec& spec, const Peaks& peaks, double packing);

/// Max temperature of a lagged run. Above it, the sweeps miss a significant thermal drift. Undriven beds at packing
/// 0.40 had 1.010(6) times the Boltzmann energy at kT = 0.002, 1.017(5) at 0.01 and 1.081(4) at 0.5, independent of the
/// step; at packing 0.70 they had 1.0001(1) at 0.01.
inline constexpr double kHottestLagged = 0.002;

/// Max pair friction at contact, relative to the drag it acts against, that one sweep per step can follow; the default
/// spec has 1.2. At second order and a step of 5e-4, dense driven beds at 5.8 ran with a residual of 0.2; those at 8.7
/// became unstable.
inline constexpr double kStrongestLagged = 3;

/// Whether one sweep per step suffices for a run.
bool MayBeLagged(const RunSpec& spec, const Peaks& peaks);

}  // namespace gyrebox::kernels
