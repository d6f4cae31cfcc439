// With the default solver and time step, undriven beds have the canonical mean energy: cold and hot, dilute and dense.
#include "boltzmann.h"

#include <cstdio>

namespace gyrebox {
namespace {

using kernels::DynamicsSpec;

ThermalBudget BudgetAt(double temperature) {
  // Relaxation time of contacts at kT: about (0.1 sigma)^2 / (kT / drag).
  return {.duration = std::clamp(0.05 / temperature, 2.0, 25.0)};
}

void Report(const char* what, double packing, double temperature, const Thermal& thermal) {
  std::printf("%s, packing %.2f, kT %g: energy %.6g, canonical %.6g, ratio %.4f, tolerance %.4f\n", what, packing,
              temperature, thermal.energy, thermal.expected, thermal.energy / thermal.expected,
              thermal.tolerance / thermal.expected);
  std::fflush(stdout);
}

class ThermalBedAt : public testing::TestWithParam<double> {};

TEST_P(ThermalBedAt, HasTheEnergyOfTheCanonicalAverage) {
  for (const double temperature : {0.002, 0.005, 0.01, 0.02, 0.05, 0.2, 0.5, 1.0}) {
    const ThermalBudget budget = BudgetAt(temperature);
    const Thermal thermal = EnergyOf(ThermalBed(budget, GetParam(), temperature), budget);
    Report("default", GetParam(), temperature, thermal);
    EXPECT_NEAR(thermal.energy, thermal.expected, std::max(thermal.tolerance, 0.01 * thermal.expected))
        << "temperature " << temperature;
  }
}
INSTANTIATE_TEST_SUITE_P(Packings, ThermalBedAt, testing::Values(0.40, 0.70));

// Negative control: one sweep per step on the same beds, warmer than kHottestLagged, gives the wrong energy.
TEST(ThermalBed, HasTheWrongEnergyWithOneSweepPerStep) {
  for (const double temperature : {0.02, 0.05, 0.1, 0.5}) {
    const ThermalBudget budget = BudgetAt(temperature);
    kernels::RunSpec spec = ThermalBed(budget, 0.40, temperature);
    spec.dynamics.equation = DynamicsSpec::Equation::kLagged;
    const Thermal thermal = EnergyOf(spec, budget);
    Report("lagged", 0.40, temperature, thermal);
    if (temperature == 0.5) {
      EXPECT_GT(thermal.energy, thermal.expected + thermal.tolerance);
    }
  }
}

}  // namespace
}  // namespace gyrebox
