#include "estimators/bootstrap.h"

#include <algorithm>
#include <cmath>
#include <random>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// 97.5 % point of the normal distribution.
constexpr double kNormal975 = 1.959963984540054;

static double MeanOfDraw(std::span<const double> group, std::mt19937_64& random) {
  double sum = 0;
  for (size_t i = 0; i < group.size(); ++i) sum += group[random() % group.size()];
  return sum / static_cast<double>(group.size());
}

Quantiles Bootstrap(std::span<const std::span<const double>> groups,
                    const std::function<double(std::span<const double>)>& number, int draws) {
  std::mt19937_64 random(1);
  std::vector<double> means(groups.size()), drawn;
  drawn.reserve(draws);
  Moments moments;
  for (int i = 0; i < draws; ++i) {
    for (size_t k = 0; k < groups.size(); ++k) means[k] = MeanOfDraw(groups[k], random);
    drawn.push_back(number(means));
    if (std::isfinite(drawn.back())) moments.Add(drawn.back());
  }
  std::sort(drawn.begin(), drawn.end());
  const auto tail = static_cast<size_t>(0.025 * draws);
  return {drawn[tail], drawn[draws - 1 - tail], moments.Variance()};
}

double SmallSampleStretch(size_t n) {
  const auto count = static_cast<double>(n);
  return std::sqrt(count / (count - 1)) * StudentT(0.975, count - 1) / kNormal975;
}

}  // namespace gyrebox::analysis
