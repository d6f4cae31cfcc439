/// Loops: difference between up and down sweeps.
#pragma once

#include <optional>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// One point of a sweep.
struct SweepPoint {
  double x = 0;      ///< drive
  double value = 0;  ///< size
};

/// Area of a closed loop, the integral of x d(value) once around: the work of the drive, positive if the value lags.
double EnclosedArea(std::span<const SweepPoint> loop);

/// Integral of down minus up over the drives that both branches cover, by linear interpolation: positive if the value
/// lags a drive that raises it, of no sign on average for noise alone. None if the branches do not overlap. Points of a
/// branch may be in any order; points at the same drive are averaged.
std::optional<double> SignedAreaBetween(std::span<const SweepPoint> up, std::span<const SweepPoint> down);

/// Area of a loop without memory whose size lags the drive by `delay`: each branch shifts along the drive by rate times
/// delay, so the loop is twice that wide and as high as the range of sizes. Exact for a linear response to a slow sweep
/// (Debye relaxation: its area is pi chi F^2 w tau / (1 + w^2 tau^2)).
/// @param rate of the drive, per tau.
double AreaOfDelay(double rate, double delay, double height);

/// Loop area at rate 0 and its growth with the rate, from areas at several rates: area = at_rest + factor rate^(2/3),
/// by least squares (P. Jung, G. Gray, R. Roy and P. Mandel, Phys. Rev. Lett. 65, 1873 (1990); from memory).
struct RestingArea {
  double at_rest = 0;
  double factor = 0;
  double half_width = 0;  ///< of the 95 % interval of at_rest; infinite for fewer than three areas
};
/// None for fewer than two different rates.
std::optional<RestingArea> ExtrapolateToRest(std::span<const double> rates, std::span<const double> areas);

}  // namespace gyrebox::analysis
