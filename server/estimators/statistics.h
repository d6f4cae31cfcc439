/// Means, spreads and intervals of independent values, and single-pass moments of long series.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Mean and variance in one pass, with updates that lose no digits when the spread is small compared with the mean:
/// B. P. Welford, Technometrics 4, 419 (1962).
class Moments {
 public:
  void Add(double value) {
    ++count_;
    const double from_old = value - mean_;
    mean_ += from_old / static_cast<double>(count_);
    squares_ += from_old * (value - mean_);
  }

  size_t count() const { return count_; }
  double mean() const { return mean_; }
  /// Sum of squares about the mean.
  double squares() const { return squares_; }
  /// Sample variance, with n - 1; 0 for fewer than two values.
  double Variance() const;

 private:
  size_t count_ = 0;
  double mean_ = 0;
  double squares_ = 0;
};

/// Mean, spread and 95 % confidence interval of the mean of a few independent values.
struct Summary {
  size_t count = 0;
  double mean = 0;                   ///< of at least one value
  double standard_deviation = 0;     ///< of the sample; 0 for fewer than two values
  double confidence_half_width = 0;  ///< t(0.975, count - 1) s / sqrt(count); 0 for fewer than two values
  double smallest = 0;
  double largest = 0;
};

/// Summarises values; all 0 if there are none.
/// The interval is that of the NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.2.
Summary Summarise(std::span<const double> values);

/// Quantile of Student's t; degrees of freedom are above 0 and may be fractional. Table in the NIST/SEMATECH e-Handbook
/// of Statistical Methods, section 1.3.6.7.2.
double StudentT(double probability, double degrees_of_freedom);

/// Two-sided p-value of t.
double TwoSidedPValue(double t, double degrees_of_freedom);

/// Which hypotheses of a family are rejected so that the probability of any wrong rejection is at most `level`: S.
/// Holm, Scand. J. Stat. 6, 65 (1979).
std::vector<bool> HolmRejects(std::span<const double> p_values, double level);

/// Lag-1 autocorrelation coefficient, as the NIST Statistical Reference Datasets define it.
double LagOneCorrelation(std::span<const double> values);

}  // namespace gyrebox::analysis
