/// Loops: how far the way up differs from the way down.
#pragma once

#include <optional>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// A place on a sweep.
struct SweepPoint {
  double x = 0;      ///< drive
  double value = 0;  ///< size
};

/// Area of a closed loop, the integral of x d(value) once round: the work of the drive, positive where the value
/// follows late.
double EnclosedArea(std::span<const SweepPoint> loop);

/// Integral of |up - down| over the drives that both branches reach, on straight lines between their points. None where
/// they share no stretch. The points of a branch lie in any order; those at one drive are averaged.
std::optional<double> AreaBetween(std::span<const SweepPoint> up, std::span<const SweepPoint> down);

/// Area that a loop without memory would have because its size follows the drive late by `delay`: each branch is
/// shifted along the drive by rate times delay, so the loop is twice as wide, and as high as the sizes reach. For a
/// linear response to a slow sweep this is exact (Debye relaxation: its area is pi chi F^2 w tau / (1 + w^2 tau^2)).
/// @param rate of the drive, per tau.
double AreaOfDelay(double rate, double delay, double height);

/// Area at rate 0 and what it grows by, from areas at several rates: area = at_rest + factor rate^(2/3), by least
/// squares (P. Jung, G. Gray, R. Roy and P. Mandel, Phys. Rev. Lett. 65, 1873 (1990); from memory).
struct RestingArea {
  double at_rest = 0;
  double factor = 0;
  double half_width = 0;  ///< of the 95 % interval of at_rest; infinite for fewer than three rates
};
/// None for fewer than two different rates.
std::optional<RestingArea> ExtrapolateToRest(std::span<const double> rates, std::span<const double> areas);

}  // namespace gyrebox::analysis
