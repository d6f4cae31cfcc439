#include "estimators/effect.h"

#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <map>
#include <vector>

namespace gyrebox::analysis {

/// Line through the logarithms, of which each start has its own level.
static Slope SlopeWithinStarts(std::span<const CurvePoint> points, std::span<const Sample> logs) {
  std::map<int, Moments> of_x, of_y;
  for (size_t i = 0; i < points.size(); ++i) {
    for (size_t k = 0; k < logs[i].values.size(); ++k) {
      of_x[logs[i].starts[k]].Add(points[i].x);
      of_y[logs[i].starts[k]].Add(logs[i].values[k]);
    }
  }
  std::vector<double> x, y;
  for (size_t i = 0; i < points.size(); ++i) {
    for (size_t k = 0; k < logs[i].values.size(); ++k) {
      x.push_back(points[i].x - of_x[logs[i].starts[k]].mean());
      y.push_back(logs[i].values[k] - of_y[logs[i].starts[k]].mean());
    }
  }
  Slope slope = FitLine(x, y);
  // FitLine() took off one level, that of all.
  const double degrees = slope.degrees_of_freedom - static_cast<double>(of_x.size()) + 1;
  if (degrees > 0) slope.standard_error *= std::sqrt(slope.degrees_of_freedom / degrees);
  slope.degrees_of_freedom = degrees;
  return slope;
}

std::optional<Effect> FindEffect(std::span<const CurvePoint> all) {
  const auto points = CountingPoints(all);
  if (points.size() < 2) return std::nullopt;
  std::vector<Sample> logs;
  for (const CurvePoint& point : points) logs.push_back(LogsOf(point));
  return Effect{.from = points.front().x,
                .to = points.back().x,
                .change = DifferencesFrom(logs, logs.front()).back(),
                .slope = SlopeWithinStarts(points, logs)};
}

Spread SpreadWithInterval(double value, double degrees_of_freedom) {
  const boost::math::chi_squared squares(degrees_of_freedom);
  return {value, value * std::sqrt(degrees_of_freedom / boost::math::quantile(squares, 0.975)),
          value * std::sqrt(degrees_of_freedom / boost::math::quantile(squares, 0.025))};
}

std::optional<Spread> RelativeSpread(std::span<const double> trials) {
  const Summary summary = Summarise(trials);
  if (summary.count < 2 || summary.mean == 0) return std::nullopt;
  return SpreadWithInterval(summary.standard_deviation / std::abs(summary.mean),
                            static_cast<double>(summary.count - 1));
}

}  // namespace gyrebox::analysis
