#include "estimators/log_means.h"

#include <algorithm>
#include <boost/math/special_functions/digamma.hpp>
#include <boost/math/special_functions/polygamma.hpp>
#include <boost/math/special_functions/trigamma.hpp>
#include <cmath>
#include <limits>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

constexpr double kInfinite = std::numeric_limits<double>::infinity();

Sample Logs(const Sample& sample) {
  Sample logs;
  for (size_t i = 0; i < sample.values.size(); ++i) {
    if (!(sample.values[i] > 0)) continue;
    logs.values.push_back(std::log(sample.values[i]));
    logs.starts.push_back(sample.starts.empty() ? static_cast<int>(i) : sample.starts[i]);
  }
  return logs;
}

Sample PairedDifferences(const Sample& first, const Sample& second) {
  Sample pairs;
  size_t k = 0;
  for (size_t i = 0; i < first.starts.size(); ++i) {
    while (k < second.starts.size() && second.starts[k] < first.starts[i]) ++k;
    if (k == second.starts.size() || second.starts[k] != first.starts[i]) continue;
    pairs.starts.push_back(first.starts[i]);
    pairs.values.push_back(first.values[i] - second.values[k]);
  }
  return pairs.values.size() < 2 ? Sample{} : pairs;
}

double LogMean::HalfWidth(double confidence) const {
  return degrees_of_freedom > 0 ? StudentT((1 + confidence) / 2, degrees_of_freedom) * standard_error : kInfinite;
}

double LogMean::PValue() const {
  return degrees_of_freedom > 0 ? TwoSidedPValue(mean / standard_error, degrees_of_freedom) : 1;
}

static Moments MomentsOf(const std::vector<double>& values) {
  Moments moments;
  for (const double value : values) moments.Add(value);
  return moments;
}

/// Starts that all samples have.
static std::vector<int> CommonStarts(const std::vector<const Sample*>& samples) {
  std::vector<int> common = samples.front()->starts, both;
  for (const Sample* sample : samples) {
    both.clear();
    std::set_intersection(common.begin(), common.end(), sample->starts.begin(), sample->starts.end(),
                          std::back_inserter(both));
    common.swap(both);
  }
  return common;
}

/// Deviations of a sample's values at these starts from their mean.
static std::vector<double> DeviationsAt(const Sample& sample, const std::vector<int>& starts) {
  std::vector<double> values;
  for (size_t i = 0; i < sample.starts.size(); ++i) {
    if (std::binary_search(starts.begin(), starts.end(), sample.starts[i])) values.push_back(sample.values[i]);
  }
  const double mean = MomentsOf(values).mean();
  for (double& value : values) value -= mean;
  return values;
}

/// (tr S)^2 / tr S^2 of samples over their n common starts, between 1 and the number of samples. Sums products of
/// starts instead of points: tr S and tr S^2 are those of the n x n matrix of scalar products.
static double IndependentSamples(const std::vector<const Sample*>& samples, const std::vector<int>& starts) {
  const size_t n = starts.size();
  if (n < 3) return 1;  // tr S^2 cannot be estimated
  std::vector<double> products(n * n, 0);
  for (const Sample* sample : samples) {
    const auto deviations = DeviationsAt(*sample, starts);
    for (size_t i = 0; i < n; ++i) {
      for (size_t k = 0; k < n; ++k) products[i * n + k] += deviations[i] * deviations[k];
    }
  }
  const double degrees = static_cast<double>(n) - 1;
  double trace = 0, squares = 0;
  for (size_t i = 0; i < n; ++i) trace += products[i * n + i] / degrees;
  for (const double product : products) squares += product * product / (degrees * degrees);
  const double trace_of_squares =
      degrees * degrees / ((degrees - 1) * (degrees + 2)) * (squares - trace * trace / degrees);
  const auto all = static_cast<double>(samples.size());
  const double square_of_trace = trace * trace - 2 * trace_of_squares / degrees;  // without bias
  return trace_of_squares > 0 ? std::clamp(square_of_trace / trace_of_squares, 1.0, all) : all;
}

static double DegreesOf(const Sample& sample) { return static_cast<double>(sample.values.size()) - 1; }

/// Degrees of freedom that the samples have together.
static double DegreesTogether(const std::vector<const Sample*>& samples) {
  double sum = 0, largest = 0;
  for (const Sample* sample : samples) {
    sum += DegreesOf(*sample);
    largest = std::max(largest, DegreesOf(*sample));
  }
  const double independent = IndependentSamples(samples, CommonStarts(samples));
  return std::max(largest, sum * independent / static_cast<double>(samples.size()));
}

/// y with trigamma(y) = x, by Newton's method on 1 / trigamma, which is convex: Smyth's appendix.
static double TrigammaInverse(double x) {
  double y = 0.5 + 1 / x;
  for (int i = 0; i < 50; ++i) {
    const double trigamma = boost::math::trigamma(y),
                 step = trigamma * (1 - trigamma / x) / boost::math::polygamma(2, y);
    y += step;
    if (-step < 1e-9 * y) break;
  }
  return y;
}

/// Samples with a spread.
static std::vector<const Sample*> WithSpread(std::span<const Sample> family) {
  std::vector<const Sample*> samples;
  for (const Sample& sample : family) {
    if (MomentsOf(sample.values).squares() > 0) samples.push_back(&sample);
  }
  return samples;
}

VariancePrior Pool(std::span<const Sample> family) {
  const auto samples = WithSpread(family);
  if (samples.empty()) return {};
  double squares = 0, degrees = 0;
  for (const Sample* sample : samples) {
    squares += MomentsOf(sample->values).squares();
    degrees += DegreesOf(*sample);
  }
  return {squares / degrees, kInfinite, DegreesTogether(samples)};
}

VariancePrior PriorOf(std::span<const Sample> family) {
  const auto samples = WithSpread(family);
  if (samples.size() < 2) return {};
  Moments logs;  // of variances, without the bias of their degrees of freedom
  double expected_scatter = 0;
  for (const Sample* sample : samples) {
    const double half = DegreesOf(*sample) / 2;
    logs.Add(std::log(MomentsOf(sample->values).Variance()) - boost::math::digamma(half) + std::log(half));
    expected_scatter += boost::math::trigamma(half);
  }
  const double scatter = logs.Variance() - expected_scatter / static_cast<double>(samples.size());
  if (!(scatter > 0)) return Pool(family);
  const double half = TrigammaInverse(scatter);
  return {.variance = std::exp(logs.mean() + boost::math::digamma(half) - std::log(half)),
          .degrees_of_freedom = 2 * half,
          .most_degrees_of_freedom = DegreesTogether(samples)};
}

LogMean MeanOf(const Sample& sample, const VariancePrior& prior) {
  const Moments moments = MomentsOf(sample.values);
  LogMean mean{.count = moments.count(), .mean = moments.mean()};
  if (mean.count < 2) return mean;
  const double own = DegreesOf(sample);
  double variance = moments.Variance();
  mean.degrees_of_freedom = own;
  if (std::isinf(prior.degrees_of_freedom)) {
    variance = prior.variance;
    mean.degrees_of_freedom = prior.most_degrees_of_freedom;
  } else if (prior.degrees_of_freedom > 0) {
    variance = (prior.degrees_of_freedom * prior.variance + own * variance) / (prior.degrees_of_freedom + own);
    mean.degrees_of_freedom = std::max(own, std::min(prior.degrees_of_freedom + own, prior.most_degrees_of_freedom));
  }
  mean.standard_error = std::sqrt(variance / static_cast<double>(mean.count));
  return mean;
}

std::vector<LogMean> MeansOf(std::span<const Sample> family) {
  const VariancePrior prior = PriorOf(family);
  std::vector<LogMean> means;
  for (const Sample& sample : family) means.push_back(MeanOf(sample, prior));
  return means;
}

LogMean WelchDifference(const LogMean& first, const LogMean& second) {
  LogMean difference{.count = std::min(first.count, second.count), .mean = first.mean - second.mean};
  if (difference.count < 2) return difference;
  const double a = first.standard_error * first.standard_error, b = second.standard_error * second.standard_error;
  difference.standard_error = std::sqrt(a + b);
  difference.degrees_of_freedom =
      a + b > 0 ? (a + b) * (a + b) / (a * a / first.degrees_of_freedom + b * b / second.degrees_of_freedom)
                : first.degrees_of_freedom + second.degrees_of_freedom;
  return difference;
}

LogMean DifferenceOf(const Sample& first, const Sample& second, const VariancePrior& pairs,
                     const VariancePrior& apart) {
  if (const Sample paired = PairedDifferences(first, second); !paired.values.empty()) return MeanOf(paired, pairs);
  LogMean difference = WelchDifference(MeanOf(first, apart), MeanOf(second, apart));
  if (apart.degrees_of_freedom > 0 && difference.count >= 2) {
    // Both errors rest on one pooled variance.
    difference.degrees_of_freedom = std::min(
        difference.degrees_of_freedom, std::max(apart.most_degrees_of_freedom, DegreesOf(first) + DegreesOf(second)));
  }
  return difference;
}

std::vector<LogMean> DifferencesFrom(std::span<const Sample> family, const Sample& reference) {
  std::vector<Sample> pairs;
  for (const Sample& sample : family) pairs.push_back(PairedDifferences(sample, reference));
  std::vector<Sample> apart(family.begin(), family.end());
  apart.push_back(reference);
  const VariancePrior of_pairs = PriorOf(pairs), of_samples = PriorOf(apart);
  std::vector<LogMean> differences;
  for (const Sample& sample : family) differences.push_back(DifferenceOf(sample, reference, of_pairs, of_samples));
  return differences;
}

}  // namespace gyrebox::analysis
