/// Rounding tolerance for quotients of numbers that users give.
#pragma once

namespace gyrebox::study {

/// Relative tolerance: a quotient such as 0.25 / 5e-4 counts as the intended whole number, and a value intended to lie
/// on a bound is accepted.
inline constexpr double kRoundOff = 1e-9;

}  // namespace gyrebox::study
