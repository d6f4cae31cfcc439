#include "dynamics/step_choice.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "model/force.h"
#include "model/friction.h"

namespace gyrebox::kernels {
namespace {

constexpr double kClosest = 0.6;  // sigma: closer beads end a run

// Distance at which a number that falls with the distance has come down to `value`, sigma; halvings of the range.
template <class Of>
double DistanceWhere(double cutoff, double value, const Of& of) {
  double near = kClosest, far = cutoff;
  for (int halving = 0; halving < 50; ++halving) {
    const double middle = (near + far) / 2;
    (of(middle) > value ? near : far) = middle;
  }
  return (near + far) / 2;
}

// Fastest rate at which contacts at a distance relax, 1/tau.
double Relaxation(const RunSpec& spec, double r) {
  const PairForce<double> force(spec.force);
  const double h = 1e-5;
  const double stiffness = (force.Force(r - h) - force.Force(r + h)) / (2 * h);
  const bool brownian = spec.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  const PairFriction<double> friction(spec.friction);
  const double between = brownian ? 0 : 6 * friction.normal * friction.Weight(r);
  return 6 * stiffness / (spec.drag.translational + between);
}

}  // namespace

StepChoice ChooseStep(const RunSpec& spec, const Peaks& peaks, const StepConstants& constants) {
  const bool brownian = spec.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  const bool midpoint = spec.dynamics.equation == DynamicsSpec::Equation::kConverged && peaks.temperature > 0;
  const bool second_order = midpoint || spec.dynamics.step == DynamicsSpec::Step::kSecondOrder;
  const PairFriction<double> friction(spec.friction);
  const PairForce<double> force(spec.force);
  const double drag = spec.drag.translational;
  const double grip = (brownian ? spec.dynamics.swirl : friction.tangential) * friction.Weight(1.0);

  StepChoice choice{constants.largest, StepLimit::kLargest};
  const auto take = [&](double step, StepLimit limit) {
    if (step < choice.step) choice = {step, limit};
  };
  const double circling = std::abs(peaks.rate) * 2 * grip / (brownian ? drag : drag + 2 * grip);
  if (circling > 0) {
    take(second_order ? constants.turn / circling : 2 * constants.drift / (circling * circling), StepLimit::kCircling);
  }
  if (peaks.frequency > 0) take(constants.phase / (2 * std::numbers::pi * peaks.frequency), StepLimit::kWave);

  // A force that reaches over lambda gives kT up over that way.
  const double reach = spec.force.cutoff - 1 > 0 ? std::min(spec.force.decay_length, spec.force.cutoff - 1) : 1;
  const double push = grip * std::abs(peaks.rate) + constants.thermal_reach * peaks.temperature / reach;
  const double pushed = DistanceWhere(spec.force.cutoff, push, [&](double r) { return force.Force(r); });
  if (const double rate = Relaxation(spec, pushed); rate > 0) {
    take(constants.margin * (second_order ? 1 : 2) / rate, StepLimit::kContact);
  }
  if (peaks.temperature > 0) {
    const double met = DistanceWhere(spec.force.cutoff, peaks.temperature, [&](double r) { return force.Energy(r); });
    if (const double rate = Relaxation(spec, met); rate > 0) {
      take((second_order ? std::sqrt(2 * constants.bias) : 2 * constants.bias) / rate, StepLimit::kNoise);
    }
  }
  return choice;
}

}  // namespace gyrebox::kernels
