/// Rounding in quotients of numbers that people give.
#pragma once

namespace gyrebox::study {

/// Relative allowance for rounding: a quotient such as 0.25 / 5e-4 counts as the whole number that is meant, and one
/// that is meant to be on a bound passes it.
inline constexpr double kRoundOff = 1e-9;

}  // namespace gyrebox::study
