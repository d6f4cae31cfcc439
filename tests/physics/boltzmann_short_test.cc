// Short version of the slow test of thermal beds.
#include "boltzmann.h"

namespace gyrebox {
namespace {

constexpr ThermalBudget kBudget = {.n_beads = 256, .n_starts = 100, .n_chains = 10, .n_draws = 40, .duration = 0.75};

// Exact: the canonical average.
TEST(ThermalBed, HasTheEnergyOfTheCanonicalAverageByDefault) {
  for (const double temperature : {0.05, 0.5}) {
    const kernels::RunSpec spec = ThermalBed(kBudget, 0.40, temperature);
    EXPECT_EQ(spec.dynamics.equation, kernels::DynamicsSpec::Equation::kConverged);
    const Thermal thermal = EnergyOf(spec, kBudget);
    EXPECT_NEAR(thermal.energy, thermal.expected, thermal.tolerance) << "temperature " << temperature;
    // Small enough to detect the 9 % error of one sweep per step at temperature 0.5.
    EXPECT_LT(thermal.tolerance, 0.06 * thermal.expected);
  }
}

}  // namespace
}  // namespace gyrebox
