/// The plateau of one run: its value, how well it is known, and whether it is one.
#pragma once

#include <cstddef>

#include "analysis/series.h"
#include "analysis/slope.h"

namespace gyrebox::analysis {

/// Fewest integrated autocorrelation times for the error of a plateau to be worth much.
constexpr double kFewestCorrelationTimes = 50;
/// A slope is believed where its chance without one is below this.
constexpr double kSlopeLevel = 0.05;

/// Where to look.
struct PlateauWindow {
  double stage_begin = 0;  ///< beginning of the stage that the plateau ends, tau
  double begin = 0;        ///< beginning of the plateau, tau
  double end = 0;          ///< its end, tau
  double period = 0;       ///< of the drive, tau; 0 where it has none
};

/// All that one run says about its plateau.
struct Plateau {
  size_t count = 0;  ///< samples that hold the quantity; 0 where there is no plateau
  double mean = 0;
  double standard_error = 0;      ///< by block averages
  double half_width = 0;          ///< of the 95 % interval; infinite for fewer than two blocks
  double correlation_time = 0;    ///< integrated, tau
  double correlation_times = 0;   ///< how many of them the plateau lasts
  double transient = 0;           ///< of the stage, by the most independent samples, tau from the stage's beginning
  double transient_by_error = 0;  ///< by the least marginal error
  Slope slope = {};               ///< per tau

  bool too_short() const { return correlation_times < kFewestCorrelationTimes; }
  /// Whether the slope is more than chance: a size that still changes, not an arrested one.
  bool drifts() const { return slope.Chance() < kSlopeLevel; }
  bool grows() const { return drifts() && slope.value > 0; }
  /// Whether the transient is over before the plateau begins.
  bool settled(const PlateauWindow& window) const { return window.stage_begin + transient <= window.begin; }
};

/// Earliest time of a plateau taken over the last share of a run of this length, in tau.
double PlateauStart(double duration, double share);

/// Looks at a plateau. Samples that do not hold the quantity, which are NaN, must have been left out.
Plateau MeasurePlateau(const Series& series, const PlateauWindow& window);

/// The mean alone, the same to the last bit; NaN where there is no sample.
double PlateauMean(const Series& series, const PlateauWindow& window);

}  // namespace gyrebox::analysis
