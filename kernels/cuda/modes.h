/// Compile-time specialisations of the kernels, so that each contains only what it needs.
#pragma once

#include <stdexcept>

#include "cuda/driver.h"
#include "gyrebox/run_spec.h"

namespace gyrebox::kernels::cuda {

/// Noise of zero amplitude has no effect, so a thermal mode also serves temperature 0; likewise, a mode that may
/// extrapolate also serves first-order steps.
template <DynamicsSpec::Equation equation, bool thermal, bool exponential, bool may_carry = true>
struct Mode {
  static constexpr bool kLagged = equation == DynamicsSpec::Equation::kLagged;
  static constexpr bool kConverged = equation == DynamicsSpec::Equation::kConverged;
  static constexpr bool kBrownian = equation == DynamicsSpec::Equation::kBrownian;
  static constexpr bool kThermal = thermal;
  static constexpr bool kExponential = exponential;  ///< supports only the exponential force law
  static constexpr bool kMayCarry = may_carry;       ///< supports second-order steps
};

/// Calls use(Mode<...>()) with the mode of a name, and returns what that returns.
template <class Use>
auto WithMode(ModeName name, const Use& use) {
  using Equation = DynamicsSpec::Equation;
  switch (name) {
    case ModeName::kLagged:
      return use(Mode<Equation::kLagged, false, true>());
    case ModeName::kLaggedFirstOrder:
      return use(Mode<Equation::kLagged, false, true, false>());
    case ModeName::kLaggedThermal:
      return use(Mode<Equation::kLagged, true, true>());
    case ModeName::kLaggedThermalFirstOrder:
      return use(Mode<Equation::kLagged, true, true, false>());
    case ModeName::kLaggedAnyForce:
      return use(Mode<Equation::kLagged, true, false>());
    case ModeName::kBrownian:
      return use(Mode<Equation::kBrownian, true, false>());
    case ModeName::kConverged:
      return use(Mode<Equation::kConverged, true, false>());
  }
  throw std::logic_error("a mode without a name");
}

}  // namespace gyrebox::kernels::cuda
