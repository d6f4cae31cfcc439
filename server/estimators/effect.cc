#include "estimators/effect.h"

#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>

namespace gyrebox::analysis {

std::optional<Effect> FindEffect(std::span<const CurvePoint> all) {
  const auto points = CountingPoints(all);
  if (points.size() < 2) return std::nullopt;
  std::vector<double> x, y;
  for (const CurvePoint& point : points) {
    for (const double trial : point.trials) {
      x.push_back(point.x);
      y.push_back(trial);
    }
  }
  Effect effect{.from = points.front().x, .to = points.back().x};
  effect.difference = WelchDifference(points.back().trials, points.front().trials);
  effect.at_from = Summarise(points.front().trials).mean;
  effect.slope = FitLine(x, y);
  effect.relative_slope = effect.slope.value / effect.slope.mean_y;
  effect.relative_half_width = effect.slope.HalfWidth(0.95) / std::abs(effect.slope.mean_y);
  return effect;
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
