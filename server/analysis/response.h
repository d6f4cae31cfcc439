/// How a size follows a switch of the drive.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "analysis/curve.h"
#include "analysis/series.h"

namespace gyrebox::analysis {

/// Time that a series takes from one plateau to the next: the area between it and the new plateau, over the step
/// between the two. For an exponential approach it is its time constant; noise moves it to neither side.
/// @param after samples from the switch on, up to the end of the stage; times in tau.
/// @return tau; none where there is no step or no sample.
std::optional<double> ResponseTime(SeriesView after, double switch_time, double old_plateau, double new_plateau);

/// One switch: how much stronger the drive became, and what became of the size. Ratios of means over trials.
struct Change {
  double drive_ratio = 1;  ///< new amplitude over old one
  double size_ratio = 1;   ///< new plateau over old one
};

/// Ratio of amplitudes at which the size changes by a factor, over 1 to grow and below 1 to shrink: on straight lines
/// between the switches in order, in logarithms of both, beginning with the switch that changes nothing. The interval
/// is that from the last switch that falls short to the first that does not; it is no matter of chance.
Place ChangeNeeded(std::span<const Change> changes, double factor);

}  // namespace gyrebox::analysis
