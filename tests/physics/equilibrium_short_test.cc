// A short form of the slow tests of equilibrium: the same statistics, wider bounds.
#include "equilibrium.h"

namespace gyrebox {
namespace {

using kernels::DynamicsSpec;

TEST(Equilibrium, DoesNotDependOnFriction) {
  const Budget budget = {100, 4, 2000};
  const auto plain = StaticsAt(budget, {.equation = DynamicsSpec::Equation::kBrownian}, 0, 0.3, 2e-4);
  const DynamicsSpec converged{.equation = DynamicsSpec::Equation::kConverged, .tolerance = 1e-3};
  const auto rough = StaticsAt(budget, converged, 5, 0.3, 2e-4);
  EXPECT_NEAR(plain[0].value, rough[0].value, 5 * std::hypot(plain[0].error, rough[0].error));
  EXPECT_LT(plain[0].error, 0.1 * plain[0].value);
}

}  // namespace
}  // namespace gyrebox
