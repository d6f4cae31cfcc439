/// Plateau of one run: mean, error and stationarity.
#pragma once

#include <cstddef>

#include "estimators/series.h"
#include "estimators/slope.h"

namespace gyrebox::analysis {

/// Minimum length of a plateau, in integrated autocorrelation times, for a reliable error.
constexpr double kFewestCorrelationTimes = 50;
/// Minimum length of a plateau, in periods of the drive, and of its stage, in samples, for a test of stationarity.
constexpr double kFewestPeriods = 3;
constexpr size_t kFewestStageSamples = 8;
/// A slope is significant if its p-value is below this.
constexpr double kSlopeLevel = 0.05;

/// Time window of a plateau.
struct PlateauWindow {
  double stage_begin = 0;  ///< start of the stage that ends with the plateau, tau
  double begin = 0;        ///< start of the plateau, tau
  double end = 0;          ///< its end, tau
  double period = 0;       ///< of the drive, tau; 0 for none
};

/// Statistics of the plateau of one run.
struct Plateau {
  size_t count = 0;  ///< samples with a value; 0 if there is no plateau
  double mean = 0;
  double standard_error = 0;      ///< by block averages
  double half_width = 0;          ///< of the 95 % interval; infinite for fewer than two blocks
  double correlation_time = 0;    ///< integrated, tau
  double correlation_times = 0;   ///< length of the plateau in correlation times
  double transient = 0;           ///< of the stage, by the most independent samples, tau from the stage's start
  double transient_by_error = 0;  ///< the same, by the least marginal error
  Slope slope = {};               ///< per tau
  bool tells = false;             ///< long enough to tell whether it is stationary

  bool too_short() const { return correlation_times < kFewestCorrelationTimes; }
  /// Whether the slope is significant: the size still changes and is not arrested.
  bool drifts() const { return tells && slope.PValue() < kSlopeLevel; }
  bool grows() const { return drifts() && slope.value > 0; }
  /// Whether the transient ends before the plateau begins.
  bool stationary(const PlateauWindow& window) const { return tells && window.stage_begin + transient <= window.begin; }
};

/// Start of a plateau over the last `fraction` of a run of this duration, in tau.
double PlateauStart(double duration, double fraction);

/// Measures a plateau. The caller removes samples without a value (NaN).
Plateau MeasurePlateau(const Series& series, const PlateauWindow& window);

/// The mean alone, bit-identical to that of MeasurePlateau(); NaN without samples.
double PlateauMean(const Series& series, const PlateauWindow& window);

}  // namespace gyrebox::analysis
