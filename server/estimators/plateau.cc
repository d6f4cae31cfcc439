#include "estimators/plateau.h"

#include <cmath>
#include <limits>

#include "estimators/correlation.h"
#include "estimators/statistics.h"
#include "estimators/transient.h"

namespace gyrebox::analysis {

/// Tolerance that includes a sample on the edge of the plateau.
constexpr double kRoundOff = 1e-9;

double PlateauStart(double duration, double fraction) { return duration * (1 - fraction - kRoundOff); }

static Series SamplesOf(const Series& series, const PlateauWindow& window, double from) {
  return PeriodMeans(Between(series, from, window.end * (1 + kRoundOff)), window.period);
}

static double MeanOf(const Series& series) {
  Moments moments;
  for (const double value : series.values) moments.Add(value);
  return moments.count() > 0 ? moments.mean() : std::numeric_limits<double>::quiet_NaN();
}

double PlateauMean(const Series& series, const PlateauWindow& window) {
  return MeanOf(SamplesOf(series, window, window.begin));
}

static void AddError(const Series& samples, Plateau* plateau) {
  const BlockLevel level = ChooseLevel(samples.values);
  plateau->standard_error = level.standard_error;
  const auto blocks = static_cast<double>(level.count);
  plateau->half_width =
      blocks > 1 ? StudentT(0.975, blocks - 1) * level.standard_error : std::numeric_limits<double>::infinity();
  if (samples.size() < 2) return;
  const auto n = static_cast<double>(samples.size());
  const double g = Inefficiency(samples.values);
  const double interval = (samples.times.back() - samples.times.front()) / (n - 1);
  plateau->correlation_time = g / 2 * interval;
  plateau->correlation_times = n / (g / 2);
}

Plateau MeasurePlateau(const Series& series, const PlateauWindow& window) {
  Plateau plateau;
  const Series samples = SamplesOf(series, window, window.begin);
  plateau.count = samples.size();
  if (plateau.count == 0) return plateau;
  plateau.mean = MeanOf(samples);
  AddError(samples, &plateau);
  plateau.slope = FitSeries(samples.times, samples.values);
  const Series stage = SamplesOf(series, window, window.stage_begin);
  const auto since = [&](size_t i) { return i == 0 ? 0 : stage.times[i] - window.stage_begin; };
  plateau.transient = since(TransientEnd(stage.values));
  plateau.tells = plateau.slope.degrees_of_freedom > 0 && stage.size() >= kFewestStageSamples &&
                  window.end * (1 + kRoundOff) - window.begin >= kFewestPeriods * window.period;
  plateau.transient_by_error = since(LeastMarginalError(stage.values).first);
  return plateau;
}

}  // namespace gyrebox::analysis
