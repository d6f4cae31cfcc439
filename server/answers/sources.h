/// Published sources of methods that several answers use; the file of an answer has those of it alone.
#pragma once

namespace gyrebox::analysis {

/// Student's t interval of a mean.
inline constexpr char kStudent[] = "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.2";
/// Straight line by least squares.
inline constexpr char kLeastSquares[] = "NIST/SEMATECH e-Handbook of Statistical Methods, section 4.1.4.1";
/// Difference of two means with unequal variances.
inline constexpr char kWelch[] = "B. L. Welch, Biometrika 34, 28 (1947)";
/// Equivalence of two means within a margin, by Welch's interval.
inline constexpr char kWelchEqual[] =
    "B. L. Welch, Biometrika 34, 28 (1947); D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15, 657 (1987)";

}  // namespace gyrebox::analysis
