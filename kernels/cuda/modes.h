/// Specialisations of the kernels, so that each contains only what its beds need.
#pragma once

#include <cstdint>
#include <stdexcept>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels::cuda {

/// What a kernel supports, or what a launch needs. A step of first order has no last motion to carry, and noise of zero
/// amplitude has no effect, so a kernel that supports more serves as well.
struct ModeTraits {
  DynamicsSpec::Equation equation = DynamicsSpec::Equation::kLagged;
  bool thermal = false;
  bool any_force = false;  ///< force laws besides the exponential one
  bool may_carry = false;  ///< steps of second order
};

/// The one table of modes, in the order in which they are preferred. Launch::mode is an index in it.
inline constexpr ModeTraits kModes[] = {
    {DynamicsSpec::Equation::kLagged, false, false, false}, {DynamicsSpec::Equation::kLagged, false, false, true},
    {DynamicsSpec::Equation::kLagged, true, false, false},  {DynamicsSpec::Equation::kLagged, true, false, true},
    {DynamicsSpec::Equation::kLagged, true, true, true},    {DynamicsSpec::Equation::kBrownian, true, true, true},
    {DynamicsSpec::Equation::kConverged, true, true, true},
};
inline constexpr std::int32_t kModeCount = sizeof(kModes) / sizeof(kModes[0]);

/// The first mode that supports all of this.
constexpr std::int32_t ModeFor(const ModeTraits& needs) {
  for (std::int32_t mode = 0; mode < kModeCount; ++mode) {
    const ModeTraits& has = kModes[mode];
    if (has.equation == needs.equation && has.thermal >= needs.thermal && has.any_force >= needs.any_force &&
        has.may_carry >= needs.may_carry) {
      return mode;
    }
  }
  throw std::logic_error("no mode supports this launch");
}

/// A mode as the kernels see it.
template <DynamicsSpec::Equation equation, bool thermal, bool exponential, bool may_carry>
struct Mode {
  static constexpr bool kLagged = equation == DynamicsSpec::Equation::kLagged;
  static constexpr bool kConverged = equation == DynamicsSpec::Equation::kConverged;
  static constexpr bool kBrownian = equation == DynamicsSpec::Equation::kBrownian;
  static constexpr bool kThermal = thermal;
  static constexpr bool kExponential = exponential;  ///< supports only the exponential force law
  static constexpr bool kMayCarry = may_carry;       ///< supports second-order steps
};
template <std::int32_t mode>
using ModeAt = Mode<kModes[mode].equation, kModes[mode].thermal, !kModes[mode].any_force, kModes[mode].may_carry>;

/// Calls use(Mode<...>()) with a mode of the table, and returns what that returns.
template <std::int32_t first = 0, class Use>
auto WithMode(std::int32_t mode, const Use& use) {
  if (mode == first) return use(ModeAt<first>());
  if constexpr (first + 1 < kModeCount) return WithMode<first + 1>(mode, use);
  throw std::logic_error("no such mode");
}

}  // namespace gyrebox::kernels::cuda
