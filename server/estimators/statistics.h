/// Means, spreads and intervals of independent values, and single-pass moments of long series.
#pragma once

#include <cstddef>
#include <span>

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

/// Difference of two group means; the spreads may differ.
struct Difference {
  double value = 0;               ///< mean of the first minus mean of the second
  double standard_error = 0;      ///< of the value
  double degrees_of_freedom = 0;  ///< by Welch and Satterthwaite; 0 if a group has fewer than two values

  /// Half width of the interval of this confidence, such as 0.9; infinite without degrees of freedom.
  double HalfWidth(double confidence) const;
};

/// B. L. Welch, Biometrika 34, 28 (1947); NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3.
Difference WelchDifference(std::span<const double> first, std::span<const double> second);
/// The same from the groups' summaries.
Difference WelchDifference(const Summary& first, const Summary& second);
/// Mean of pairwise differences, such as one bed before and after; ignores values beyond the shorter list.
Difference PairedDifference(std::span<const double> first, std::span<const double> second);

/// Outcome of an equivalence test of two means.
enum class Verdict { kUnclear, kEqual, kDifferent };

/// kEqual if the 90 % interval of the difference lies within -margin to margin, which is two one-sided tests at 5 %
/// (D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15, 657 (1987)); else kDifferent if the 95 % interval excludes 0;
/// else kUnclear: not resolved.
Verdict Judge(const Difference& difference, double margin);

/// Lag-1 autocorrelation coefficient, as the NIST Statistical Reference Datasets define it.
double LagOneCorrelation(std::span<const double> values);

}  // namespace gyrebox::analysis
