#include "estimators/transient.h"

#include <algorithm>
#include <vector>

#include "estimators/correlation.h"
#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// A longer series is averaged in blocks down to this many samples, each about a third of a per cent of the series.
constexpr size_t kMaxSamples = 512;
constexpr size_t kPositions = 32;
/// Minimum number of samples for an estimate of g.
constexpr size_t kFewestSamples = 8;

/// Means of blocks of `length` samples; drops an incomplete last block.
static std::vector<double> Thinned(std::span<const double> values, size_t length) {
  std::vector<double> means(values.size() / length);
  for (size_t i = 0; i < means.size(); ++i) {
    for (size_t k = 0; k < length; ++k) means[i] += values[i * length + k] / static_cast<double>(length);
  }
  return means;
}

size_t TransientEnd(std::span<const double> values) {
  const size_t length = (values.size() + kMaxSamples - 1) / kMaxSamples;
  if (length > 1) return length * TransientEnd(Thinned(values, length));
  const size_t stride = std::max<size_t>(1, values.size() / kPositions);
  size_t best = 0;
  double most = 0;
  for (size_t first = 0; first + kFewestSamples <= values.size(); first += stride) {
    const auto rest = values.subspan(first);
    const double independent = static_cast<double>(rest.size()) / Inefficiency(rest);
    if (independent <= most) continue;
    most = independent;
    best = first;
  }
  return best;
}

LeastError LeastMarginalError(std::span<const double> values) {
  const size_t n = values.size();
  LeastError least;
  Moments rest;
  bool any = false;
  for (size_t first = n; first-- > 0;) {
    rest.Add(values[first]);
    if (2 * first >= n) continue;
    const auto count = static_cast<double>(n - first);
    const double error = rest.squares() / (count * count);
    if (any && error > least.value) continue;
    least = {first, error};
    any = true;
  }
  return least;
}

}  // namespace gyrebox::analysis
