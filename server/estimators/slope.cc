#include "estimators/slope.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "estimators/correlation.h"

namespace gyrebox::analysis {

double Slope::HalfWidth(double confidence) const {
  if (!(degrees_of_freedom > 0)) return std::numeric_limits<double>::infinity();
  return StudentT((1 + confidence) / 2, degrees_of_freedom) * standard_error;
}

double Slope::PValue() const {
  if (!(degrees_of_freedom > 0)) return 1;
  if (standard_error == 0) return value == 0 ? 1 : 0;
  return TwoSidedPValue(value / standard_error, degrees_of_freedom);
}

/// @param correlated whether the residuals are a time series.
static Slope Fit(std::span<const double> x, std::span<const double> y, bool correlated) {
  const size_t n = std::min(x.size(), y.size());
  Moments of_x, of_y;
  for (size_t i = 0; i < n; ++i) {
    of_x.Add(x[i]);
    of_y.Add(y[i]);
  }
  Slope slope{.mean_x = of_x.mean(), .mean_y = of_y.mean()};
  if (n < 3 || !(of_x.squares() > 0)) return slope;
  double products = 0;
  for (size_t i = 0; i < n; ++i) products += (x[i] - of_x.mean()) * (y[i] - of_y.mean());
  slope.value = products / of_x.squares();
  std::vector<double> residuals(n);
  double squares = 0;
  for (size_t i = 0; i < n; ++i) {
    residuals[i] = y[i] - of_y.mean() - slope.value * (x[i] - of_x.mean());
    squares += residuals[i] * residuals[i];
  }
  const double g = correlated ? Inefficiency(residuals) : 1;
  slope.degrees_of_freedom = static_cast<double>(n) / g - 2;
  if (slope.degrees_of_freedom > 0) {
    slope.standard_error = std::sqrt(squares / slope.degrees_of_freedom / of_x.squares());
  }
  return slope;
}

Slope FitLine(std::span<const double> x, std::span<const double> y) { return Fit(x, y, false); }

Slope FitSeries(std::span<const double> times, std::span<const double> values) { return Fit(times, values, true); }

}  // namespace gyrebox::analysis
