#include "estimators/correlation.h"

#include <algorithm>
#include <cmath>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// Lags summed, in units of g: five integrated autocorrelation times.
constexpr double kWindow = 2.5;
/// Minimum number of blocks for an error where the series is too short for the criterion.
constexpr size_t kFewestBlocks = 4;

double Inefficiency(std::span<const double> values) {
  const size_t n = values.size();
  Moments moments;
  for (const double value : values) moments.Add(value);
  if (n < 2 || !(moments.squares() > 0)) return 1;
  std::vector<double> deviations(n);
  std::transform(values.begin(), values.end(), deviations.begin(),
                 [&](double value) { return value - moments.mean(); });
  double g = 1;
  size_t lag = 1;
  for (; lag < n && static_cast<double>(lag) <= kWindow * std::max(g, 1.0); ++lag) {
    double products = 0;
    for (size_t i = 0; i + lag < n; ++i) products += deviations[i] * deviations[i + lag];
    const double mean_product = products / static_cast<double>(n - lag);
    g += 2 * mean_product / (moments.squares() / static_cast<double>(n));
  }
  const double window = 2 * static_cast<double>(lag) - 1;
  return std::max(1.0, g * (1 + window / static_cast<double>(n)));
}

static BlockLevel LevelOf(const std::vector<double>& means, size_t length, double variance) {
  Moments moments;
  for (const double mean : means) moments.Add(mean);
  const auto count = static_cast<double>(means.size());
  BlockLevel level{.length = length, .count = means.size()};
  level.inefficiency = variance > 0 ? static_cast<double>(length) * moments.Variance() / variance : 1;
  level.standard_error = std::sqrt(moments.Variance() / count);
  level.error_of_the_error = level.standard_error / std::sqrt(2 * (count - 1));
  return level;
}

std::vector<BlockLevel> BlockLevels(std::span<const double> values) {
  std::vector<BlockLevel> levels;
  std::vector<double> means(values.begin(), values.end());
  double variance = 0;
  for (size_t length = 1; means.size() >= 2; length *= 2) {
    if (length == 1) {
      Moments moments;
      for (const double value : means) moments.Add(value);
      variance = moments.Variance();
    }
    levels.push_back(LevelOf(means, length, variance));
    for (size_t i = 0; i + 1 < means.size(); i += 2) means[i / 2] = (means[i] + means[i + 1]) / 2;
    means.resize(means.size() / 2);
  }
  return levels;
}

BlockLevel ChooseLevel(std::span<const double> values) {
  const auto levels = BlockLevels(values);
  BlockLevel last{.count = values.size()};
  for (const BlockLevel& level : levels) {
    if (level.length > 1 && level.count < kFewestBlocks) break;
    last = level;
    const auto length = static_cast<double>(level.length);
    const double needed = 2 * static_cast<double>(values.size()) * level.inefficiency * level.inefficiency;
    if (length * length * length > needed) break;
  }
  return last;
}

}  // namespace gyrebox::analysis
