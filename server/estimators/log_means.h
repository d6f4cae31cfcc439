/// Means of logarithms at many points whose realizations start from the same beds.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Values of the realizations of one point.
struct Sample {
  std::vector<int> starts = {};     ///< the start of each value, ascending; values of equal starts pair
  std::vector<double> values = {};  ///< as many
};

/// Natural logarithms of the values above 0. Without starts these are 0, 1, ...: values that are independent may be
/// paired in any order.
Sample Logs(const Sample& sample);

/// First minus second for each start that both have. Without two common starts, empty.
Sample PairedDifferences(const Sample& first, const Sample& second);

/// Mean of a sample with the standard error and degrees of freedom that its family of samples gives it.
struct LogMean {
  size_t count = 0;
  double mean = 0;
  double standard_error = 0;
  double degrees_of_freedom = 0;  ///< 0 for fewer than two values

  /// Half width of the two-sided interval of this confidence; infinite without degrees of freedom.
  double HalfWidth(double confidence) const;
  /// Two-sided p-value of the hypothesis that the mean is 0; 1 without degrees of freedom.
  double PValue() const;
};

/// Prior of the variances of a family of samples, such as the points of a curve.
struct VariancePrior {
  double variance = 0;
  double degrees_of_freedom = 0;       ///< 0 for none; infinite where the variances agree
  double most_degrees_of_freedom = 0;  ///< that all samples together have
};

/// Empirical Bayes: variances of few realizations scatter, so each is moderated by those of the family, the more the
/// better these agree (G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3, 3 (2004), section 6.2). Points that share their
/// starts are correlated, so all samples together have only (n - 1) (tr S)^2 / tr S^2 degrees of freedom, S the
/// covariance of the points over the starts (G. E. P. Box, Ann. Math. Stat. 25, 290 (1954)), with the unbiased estimate
/// of tr S^2 of Z. Bai and H. Saranadasa, Stat. Sin. 6, 311 (1996).
VariancePrior PriorOf(std::span<const Sample> family);

/// Variance of a family as one, with the degrees of freedom that all samples together have.
VariancePrior Pool(std::span<const Sample> family);

/// Mean with its moderated error; the plain one for a prior without degrees of freedom.
LogMean MeanOf(const Sample& sample, const VariancePrior& prior);

/// Means of a family.
std::vector<LogMean> MeansOf(std::span<const Sample> family);

/// First minus second, of independent samples: B. L. Welch, Biometrika 34, 28 (1947); NIST/SEMATECH e-Handbook of
/// Statistical Methods, section 1.3.5.3.
LogMean WelchDifference(const LogMean& first, const LogMean& second);

/// First minus second: of pairs where two starts are common, else of independent samples with the degrees of freedom of
/// Welch and Satterthwaite. @param pairs prior of the paired differences of the family, @param apart that of samples.
LogMean DifferenceOf(const Sample& first, const Sample& second, const VariancePrior& pairs, const VariancePrior& apart);

/// Differences of every sample of a family from one of them, as DifferenceOf(); that of the sample itself is 0.
std::vector<LogMean> DifferencesFrom(std::span<const Sample> family, const Sample& reference);

}  // namespace gyrebox::analysis
