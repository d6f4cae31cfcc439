#include "gyrebox/step_choice.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "gyrebox/wave.h"
#include "model/force.h"
#include "model/friction.h"

namespace gyrebox::kernels {

/// Whether a peak depends on it.
static bool IsInPeaks(Parameter parameter) {
  return parameter != Parameter::kSweepTime && parameter != Parameter::kPhaseSpread &&
         parameter != Parameter::kOppositeFraction;
}

bool PeakFold::Concerns(const Adjustment& adjustment) {
  return !adjustment.wave.empty() || std::any_of(adjustment.changes.begin(), adjustment.changes.end(),
                                                 [](const Change& change) { return IsInPeaks(change.parameter); });
}

PeakFold::PeakFold(const RunSpec& spec)
    : now_(spec), per_torque_(spec.drive.quantity == DriveSpec::Quantity::kTorque ? 1 / spec.drag.rotational : 1) {
  peaks_.normal = now_.friction.normal;
  Count(now_);
}

void PeakFold::Count(const Settings& settings) {
  const DisorderSpec& disorder = settings.disorder;
  const double spread = (1 + kWidestSpread * disorder.amplitude_spread) * (1 + kWidestSpread * disorder.jitter);
  const double rate = std::abs(settings.wave.amplitude) * PeakFactor(settings.wave) * spread * per_torque_;
  const double frequency = HighestFrequency(settings.wave) * (1 + kWidestSpread * disorder.frequency_spread);
  peaks_.rate = std::max(peaks_.rate, rate);
  peaks_.frequency = std::max(peaks_.frequency, frequency);
  peaks_.temperature = std::max(peaks_.temperature, settings.temperature);
  peaks_.tangential = std::max(peaks_.tangential, settings.friction.tangential);
  peaks_.along = std::max(peaks_.along, settings.friction.normal);
  peaks_.normal = std::min(peaks_.normal, settings.friction.normal);
}

void PeakFold::Add(const Adjustment& adjustment) {
  if (!adjustment.wave.empty()) now_.wave = adjustment.wave.front();
  for (const Change& change : adjustment.changes) {
    if (!change.ramp) now_[change.parameter] = change.value;
  }
  Count(now_);
  // While several ramps run, the combination of their higher ends bounds every value.
  Settings highest = now_;
  for (const Change& change : adjustment.changes) {
    if (!change.ramp) continue;
    now_[change.parameter] = change.value;
    double& most = highest[change.parameter];
    if (std::abs(change.value) > std::abs(most)) most = change.value;
  }
  Count(highest);
  Count(now_);
}

std::array<double, 12> PeakFold::now() const {
  const auto& [wave, disorder, temperature, friction] = now_;
  return {wave.amplitude,
          wave.frequency,
          wave.last_frequency,
          wave.depth,
          wave.index,
          wave.modulation_frequency,
          temperature,
          friction.tangential,
          friction.normal,
          disorder.amplitude_spread,
          disorder.frequency_spread,
          disorder.jitter};
}

Peaks PeaksOf(const RunSpec& spec) {
  PeakFold fold(spec);
  for (const Adjustment& adjustment : spec.adjustments) fold.Add(adjustment);
  return fold.peaks();
}

namespace {

constexpr double kClosest = 0.6;  // sigma: closer beads end a run

// Distance, sigma, at which a function that decreases with distance equals `value`; by bisection.
template <class Of>
double DistanceWhere(double cutoff, double value, const Of& of) {
  double near = kClosest, far = cutoff;
  for (int halving = 0; halving < 50; ++halving) {
    const double middle = (near + far) / 2;
    (of(middle) > value ? near : far) = middle;
  }
  return (near + far) / 2;
}

// Fastest rate at which contacts at a distance relax, 1/tau. @param normal pair friction along the line of centres.
double Relaxation(const RunSpec& spec, double normal, double r) {
  const PairForce<double> force(spec.force);
  // Difference taken inwards: beyond the cut-off there is no force.
  const double h = 1e-5;
  const double stiffness = (force.Force(r - h) - force.Force(r)) / h;
  const bool brownian = spec.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  const double between = brownian ? 0 : 6 * normal * PairFriction<double>(spec.friction).Weight(r);
  return 6 * stiffness / (spec.drag.translational + between);
}

// Force with which a spinner drags a bead that it touches, per rate, zeta_0 sigma.
double Grip(const RunSpec& spec, const Peaks& peaks) {
  const bool brownian = spec.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  return (brownian ? spec.dynamics.transverse_coupling : peaks.tangential) *
         PairFriction<double>(spec.friction).Weight(1.0);
}

// Hardest push between two beads, epsilon/sigma. Thermal energy kT corresponds to a push of kT / lambda over the range
// lambda of the force.
double HardestPush(const RunSpec& spec, const Peaks& peaks, double thermal_reach) {
  const double reach = spec.force.cutoff - 1 > 0 ? std::min(spec.force.decay_length, spec.force.cutoff - 1) : 1;
  return Grip(spec, peaks) * std::abs(peaks.rate) + thermal_reach * peaks.temperature / reach;
}

// Factor by which a pair may drift further off its circle where neighbours press it back.
double Pressed(double packing, double most, const StepConstants& constants) {
  const double way = (packing - constants.loose_packing) / (constants.dense_packing - constants.loose_packing);
  return 1 + (most - 1) * std::clamp(way, 0.0, 1.0);
}

}  // namespace

bool PressesCloserThan(double distance, const RunSpec& spec, const Peaks& peaks) {
  return HardestPush(spec, peaks, StepConstants().thermal_reach) > PairForce<double>(spec.force).Force(distance);
}

std::string InWords(StepLimit limit) {
  switch (limit) {
    case StepLimit::kCircling:
      return "beads that the drive moves round each other";
    case StepLimit::kWave:
      return "the wave of the drive";
    case StepLimit::kContact:
      return "the stiffest contacts";
    case StepLimit::kNoise:
      return "thermal motion in contacts";
    case StepLimit::kKick:
      return "thermal kicks of free beads";
    case StepLimit::kLargest:
      break;
  }
  return "the largest step that is taken at all";
}

bool MayBeLagged(const RunSpec& spec, const Peaks& peaks) {
  const double weight = PairFriction<double>(spec.friction).Weight(1.0);
  const double moving = std::max(peaks.tangential, peaks.along) * weight / spec.drag.translational;
  const double turning = peaks.tangential * weight / 4 / spec.drag.rotational;  // arms of 1/2
  return peaks.temperature <= kHottestLagged && std::max(moving, turning) <= kStrongestLagged;
}

DynamicsSpec::Step ChooseOrder(const RunSpec& spec, const Peaks& peaks, double packing) {
  using Step = DynamicsSpec::Step;
  if (spec.dynamics.equation == DynamicsSpec::Equation::kConverged) return Step::kSecondOrder;
  const auto step_of = [&](Step order) {
    RunSpec run = spec;
    run.dynamics.step = order;
    return ChooseStep(run, peaks, packing).step;
  };
  return step_of(Step::kFirstOrder) * kSecondOrderCost < step_of(Step::kSecondOrder) ? Step::kSecondOrder
                                                                                     : Step::kFirstOrder;
}

StepChoice ChooseStep(const RunSpec& spec, const Peaks& peaks, double packing, const StepConstants& constants) {
  const bool brownian = spec.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  const bool midpoint = spec.dynamics.equation == DynamicsSpec::Equation::kConverged && peaks.temperature > 0;
  const bool second_order = midpoint || spec.dynamics.step == DynamicsSpec::Step::kSecondOrder;
  const PairForce<double> force(spec.force);
  const double drag = spec.drag.translational, grip = Grip(spec, peaks);

  StepChoice choice{constants.largest, StepLimit::kLargest};
  const auto take = [&](double step, StepLimit limit) {
    if (step < choice.step) choice = {step, limit};
  };
  const double circling = std::abs(peaks.rate) * 2 * grip / (brownian ? drag : drag + 2 * grip);
  if (circling > 0) {
    const double drift = constants.drift * Pressed(packing, constants.drift_pressed, constants);
    take(second_order ? constants.turn / circling : 2 * drift / (circling * circling), StepLimit::kCircling);
  }
  if (peaks.frequency > 0) take(constants.phase / (2 * std::numbers::pi * peaks.frequency), StepLimit::kWave);

  const double push = HardestPush(spec, peaks, constants.thermal_reach);
  const double pushed = DistanceWhere(spec.force.cutoff, push, [&](double r) { return force.Force(r); });
  if (const double rate = Relaxation(spec, peaks.normal, pushed); rate > 0) {
    take(constants.margin * (second_order ? 1 : 2) / rate, StepLimit::kContact);
  }
  if (peaks.temperature > 0) {
    const double move = constants.kick / kLargestKick;
    take(move * move * drag / (2 * peaks.temperature), StepLimit::kKick);
    const double met = DistanceWhere(spec.force.cutoff, peaks.temperature, [&](double r) { return force.Energy(r); });
    if (const double rate = Relaxation(spec, peaks.normal, met); rate > 0) {
      take((second_order ? std::sqrt(2 * constants.bias) : 2 * constants.bias) / rate, StepLimit::kNoise);
    }
  }
  return choice;
}

}  // namespace gyrebox::kernels
