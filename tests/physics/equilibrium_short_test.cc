// Short versions of the slow tests of equilibrium: the same statistics from fewer beads, with fixed bounds.
#include "equilibrium.h"

namespace gyrebox {
namespace {

using kernels::DynamicsSpec;

TEST(Equilibrium, DoesNotDependOnFriction) {
  const Budget budget = {100, 24, 4000};
  const auto plain = StaticsAt(budget, {.equation = DynamicsSpec::Equation::kBrownian}, 0, 0.3, 2e-4);
  const DynamicsSpec converged{.equation = DynamicsSpec::Equation::kConverged, .tolerance = 1e-3};
  const auto rough = StaticsAt(budget, converged, 5, 0.3, 2e-4);
  const Mean pressure = plain[0], rough_pressure = rough[0], order = plain[1], rough_order = rough[1];
  // With both means known to 1/40, a difference of 10 % is more than 2.5 standard errors.
  for (const Mean& mean : {pressure, rough_pressure, order, rough_order}) EXPECT_LT(mean.error, 0.025 * mean.value);
  EXPECT_NEAR(rough_pressure.value, pressure.value, 0.1 * pressure.value);
  EXPECT_NEAR(rough_order.value, order.value, 0.1 * order.value);
}

}  // namespace
}  // namespace gyrebox
