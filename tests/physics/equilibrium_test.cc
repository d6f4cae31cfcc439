// Friction between beads slows an undriven bed and does not change its statics (exact: the canonical average).
#include "equilibrium.h"

namespace gyrebox {
namespace {

using kernels::DynamicsSpec;

constexpr Budget kBudget = {256, 16, 20000};
constexpr double kTemperature = 0.3, kTimeStep = 2e-4;

DynamicsSpec Converged(bool midpoint) {
  return {.equation = DynamicsSpec::Equation::kConverged, .tolerance = 1e-4, .midpoint = midpoint};
}

TEST(Equilibrium, DoesNotDependOnFriction) {
  const auto plain = StaticsAt(kBudget, {.equation = DynamicsSpec::Equation::kBrownian}, 0, kTemperature, kTimeStep);
  for (const double friction : {0.0, 5.0, 50.0}) {
    const auto rough = StaticsAt(kBudget, Converged(true), friction, kTemperature, kTimeStep);
    EXPECT_LT(LargestDeviation(plain, rough), 4) << "friction " << friction;
  }
}

// The midpoint step supplies the drift of a position-dependent mobility; without it the bed reaches a different steady
// state.
TEST(Equilibrium, DependsOnFrictionWithoutTheMidpoint) {
  const auto plain = StaticsAt(kBudget, {.equation = DynamicsSpec::Equation::kBrownian}, 0, kTemperature, kTimeStep);
  EXPECT_GT(LargestDeviation(plain, StaticsAt(kBudget, Converged(false), 50, kTemperature, kTimeStep)), 4);
}

}  // namespace
}  // namespace gyrebox
