/// Response of a size to a switch of the drive.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "estimators/curve.h"
#include "estimators/series.h"

namespace gyrebox::analysis {

/// Response time from one plateau to the next: the area between the series and the new plateau, over the step between
/// the two. Equals the time constant of an exponential approach; noise does not bias it.
/// @param after samples from the switch to the end of the stage; times in tau.
/// @return tau; none without a step or without samples.
std::optional<double> ResponseTime(SeriesView after, double switch_time, double old_plateau, double new_plateau);

/// One switch: ratios of drive and of size. Sizes are means over realizations.
struct Change {
  double drive_ratio = 1;  ///< new amplitude over old one
  double size_ratio = 1;   ///< new plateau over old one
};

/// Ratio of amplitudes at which the size changes by a factor, above 1 to grow and below 1 to shrink. Interpolates
/// linearly in both logarithms between the switches in order of their drive ratio, starting from no change. The
/// interval is a grid bracket: from the last switch that falls short to the first that does not.
IntervalEstimate ChangeNeeded(std::span<const Change> changes, double factor);

}  // namespace gyrebox::analysis
