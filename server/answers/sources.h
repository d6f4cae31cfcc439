/// Published sources of methods that several answers use; the file of an answer has those of it alone.
#pragma once

namespace gyrebox::analysis {

/// Student's t interval of a mean.
inline constexpr char kStudent[] = "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.2";
/// Student's t interval of a mean of logarithms, with variances moderated over the points.
inline constexpr char kModerated[] =
    "G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3, 3 (2004); G. E. P. Box, Ann. Math. Stat. 25, 290 (1954)";
/// Straight line by least squares.
inline constexpr char kLeastSquares[] = "NIST/SEMATECH e-Handbook of Statistical Methods, section 4.1.4.1";
/// Difference of two means with unequal variances.
inline constexpr char kWelch[] = "B. L. Welch, Biometrika 34, 28 (1947)";
/// Equivalence of two sizes within a margin of their ratio.
inline constexpr char kEquivalence[] = "D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15, 657 (1987)";
/// A family of tests.
inline constexpr char kHolm[] = "S. Holm, Scand. J. Stat. 6, 65 (1979)";

}  // namespace gyrebox::analysis
