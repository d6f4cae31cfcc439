/// The time step that a run needs, from what it drives, presses and shakes; and the solver that its noise allows.
#pragma once

#include <array>
#include <string>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// The strongest that a run comes to, over its stages, ramps, modulation, spreads and what was steered.
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
  /// A ramp counts with both of its ends.
  void Add(const Adjustment& adjustment);
  /// Whether an adjustment may bear on peaks.
  static bool Concerns(const Adjustment& adjustment);
  const Peaks& peaks() const { return peaks_; }
  /// The numbers that peaks are made of, as they stand now.
  std::array<double, 12> now() const;

 private:
  struct State {
    WaveSpec wave;
    DisorderSpec disorder;
    double temperature = 0, tangential = 0, normal = 0;
  };
  static double* Find(Parameter parameter, State& state);
  void Count(const State& state);

  State now_;
  double per_torque_;  ///< rate of a free spinner under a unit of what is imposed
  Peaks peaks_;
};

/// Peaks over the whole course of a run.
Peaks PeaksOf(const RunSpec& spec);

/// Kicks of noise that a bead meets at most in one step, in standard deviations of one that meets the background alone
/// (friction between beads makes them smaller): passed once in 7e7 for a bead, were all beads so free.
inline constexpr double kLargestKick = 6;

/// What sets a step.
enum class StepLimit {
  kCircling,  ///< beads that the drive moves round each other
  kWave,      ///< the wave of the drive
  kContact,   ///< the stiffest contacts
  kNoise,     ///< thermal motion in contacts
  kKick,      ///< the largest move of a free bead in one step
  kLargest,   ///< none of these: the largest step that is taken at all
};

struct StepChoice {
  double step = 0;  ///< tau
  StepLimit limit = StepLimit::kLargest;
};

/// In words, such as "beads that the drive moves round each other".
std::string InWords(StepLimit limit);

/// With g = gamma_t w(1) (brownian: the swirl times w(1)), zeta the background drag, and dt the step:
/// - Circling. Two beads in touch that turn at a rate W circle at omega = W 2 g / (zeta + 2 g), exact for a pair alone
///   (brownian: W 2 g / zeta). A step along the motion leads off the circle: of first order, by a growth of the
///   distance of omega (omega dt) / 2 a tau, which has to stay under `drift`; of second order the error is
///   (omega dt)^2, and omega dt has to stay under `turn`. In a dense bed neighbours press a pair back together: from
///   `loose_packing` to `dense_packing` the limit of the drift grows evenly by the factor `drift_pressed`.
/// - Wave: 2 pi f dt under `phase`.
/// - Contact. Where forces balance the hardest push, f(r) = g W + thermal_reach kT / lambda, contacts have the
///   stiffness k = f'(r). A crystal of them has modes up to 6 k, and drags against these of zeta + 6 gamma_n w(r)
///   (brownian: zeta): a = 6 k dt / drag must be under the limit of the step, 1 of second order and 2 of first, by the
///   share `margin`.
/// - Noise. At f'(r) where the energy of a pair is kT, the variance of places is off by a^2 / 2 of second order and by
///   a / 2 of first (model/two_steps.h): under `bias`.
/// - Kick. The largest that a free bead meets, kLargestKick sqrt(2 kT dt / zeta), under `kick`, sigma.
/// - Largest: `largest`, which is what dense beds under weak drives were measured with.
/// Measured: `turn` by mean sizes of domains at packing 0.50 to 0.60, 0.5 and 2 cycles/tau and 20 to 300 rad/tau, which
/// are those at a quarter of the step; at packing 0.70 twice this step moved sizes and stopped runs. `drift` by those
/// of first order, which were a fifth too small at packing 0.50 with 0.12; `drift_pressed` by those at packing 0.70,
/// which hold still up to 60 rad/tau at 5e-4. Chosen: the others. Runs that are under way rest on these numbers: a
/// change of them, or of kHottestLagged, is another version of the rule (`step_rule` of the schema), beside this one. A
/// converged step with noise is a midpoint step: as of second order.
struct StepConstants {
  double turn = 0.0125, drift = 0.03;
  double loose_packing = 0.55, dense_packing = 0.70, drift_pressed = 14.8;
  double phase = 0.1, margin = 0.5, bias = 0.01, thermal_reach = 8, kick = 0.2, largest = 5e-4;
};

/// The largest step that keeps to all of them, and the one that set it. @param packing share of the area that discs of
/// a diameter of 1 sigma cover.
StepChoice ChooseStep(const RunSpec& spec, const Peaks& peaks, double packing, const StepConstants& constants = {});

/// Time of a lagged or Brownian step of second order, over that of one of first, on a GPU (tests/bench/RESULTS.md).
inline constexpr double kSecondOrderCost = 1.3;

/// The order that comes through a run with less work, each at its own largest step. Converged steps cost what their
/// solves do, and are of second order.
DynamicsSpec::Step ChooseOrder(const RunSpec& spec, const Peaks& peaks, double packing);

/// Temperature up to which a run may be lagged: above, its sweeps leave out a thermal drift that matters. Undriven beds
/// of packing 0.40 had 1.010(6) times the energy of Boltzmann at kT = 0.002, 1.017(5) at 0.01 and 1.081(4) at 0.5,
/// whatever the step; at packing 0.70 they had 1.0001(1) at 0.01.
inline constexpr double kHottestLagged = 0.002;

/// Strongest pair friction at touch, over the drag that it acts against, that one sweep a step keeps up with: 1.2 by
/// default. Of second order at 5e-4 dense driven beds of 5.8 ran with a residual of 0.2; those of 8.7 became unstable.
inline constexpr double kStrongestLagged = 3;

/// Whether one sweep a step serves a run.
bool MayBeLagged(const RunSpec& spec, const Peaks& peaks);

}  // namespace gyrebox::kernels
