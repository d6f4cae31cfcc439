/// Positions as 32-bit fractions of a side. The periodic wrap is the overflow of an unsigned integer, the nearest image
/// of a difference is its value as a signed integer, and the resolution is the same everywhere in the bed.
#pragma once

#include "model/real.h"

namespace gyrebox::kernels {

/// One axis of the periodic domain.
template <class R>
struct FixedAxis {
  R length_of_quantum;  ///< sigma
  R quanta_of_length;   ///< per sigma

  FixedAxis() = default;
  explicit FixedAxis(double side) : length_of_quantum(R(side * 0x1p-32)), quanta_of_length(R(0x1p32 / side)) {}
};

/// Nearest-image difference to - from along an axis, in sigma.
template <class R, class U>
GYREBOX_HD R Difference(U from, U to, R length_of_quantum) {
  return ToReal<R>(AsSigned(to - from)) * length_of_quantum;
}

/// Moves a position by `move` sigma. `remainder` (in quanta, |remainder| <= 1/2) carries the fraction of a quantum, so
/// that a slow bead neither freezes nor drifts.
template <class R, class U>
GYREBOX_HD void Advance(U& position, R& remainder, R move, R quanta_of_length) {
  const R limit(1073741824.0);
  const R wanted = Max(Min(Fma(move, quanta_of_length, remainder), limit), R(0.0) - limit);
  const auto whole = RoundToInt(wanted);
  remainder = wanted - ToReal<R>(whole);
  position = position + AsUnsigned(whole);
}

/// Angles are 32-bit fractions of a turn.
inline constexpr double kQuantaOfRadian = 0x1p32 / 6.283185307179586477;

/// Turns an angle by any number of radians. Whole turns drop out.
template <class R, class U>
GYREBOX_HD void Turn(U& angle, R radians) {
  const R turn(4294967296.0), max_turns(1073741824.0), zero(0.0);
  const R wanted = radians * R(kQuantaOfRadian);
  const R turns = Max(Min(wanted * R(0x1p-32), max_turns), zero - max_turns);
  const R part = Fma(ToReal<R>(RoundToInt(turns)), zero - turn, wanted);  // exact, within half a turn
  const R below_half(2147483520.0);                                       // the largest float under half a turn
  angle = angle + AsUnsigned(RoundToInt(Max(Min(part, below_half), zero - below_half)));
}

inline double AngleValue(std::uint32_t angle) { return angle / kQuantaOfRadian; }

/// Fraction of a side as a fixed-point position; any real fraction is wrapped into the domain.
inline std::uint32_t ToFixed(double fraction) {
  const double wrapped = fraction - std::floor(fraction);
  return static_cast<std::uint32_t>(static_cast<std::uint64_t>(wrapped * 0x1p32));
}
inline double FromFixed(std::uint32_t position, double side) { return position * (side * 0x1p-32); }

}  // namespace gyrebox::kernels
