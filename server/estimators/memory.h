/// Imprint of a middle stage on the plateau of the last stage, on the logarithmic scale.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "estimators/curve.h"
#include "estimators/log_means.h"

namespace gyrebox::analysis {

/// One usable middle amplitude.
struct Trace {
  double x = 0;             ///< middle amplitude
  LogMean difference = {};  ///< logarithm of last plateau over reference
  double half_width = 0;    ///< of the 90 % interval of the difference
  bool erased = false;      ///< the interval lies within the margin
  bool kept = false;        ///< it lies outside, by Holm's procedure over all amplitudes; neither flag: cannot tell
  int trials_needed = 0;    ///< realizations per amplitude that would tell, at this difference and spread
};

/// Imprints of the middle stages.
struct Memory {
  std::optional<double> reference_x = {};  ///< strongest usable middle amplitude; none for as-prepared samples
  LogMean reference = {};                  ///< logarithm of the reference
  double margin = 0;                       ///< max logarithm of a ratio that counts as equal
  std::vector<Trace> traces = {};          ///< the amplitudes compared with it, ascending
  IntervalEstimate reset = {};             ///< erasure amplitude
  double resolved = 0;                     ///< median half width: smaller logarithms of ratios are not resolved
  double spread = 0;                       ///< median standard deviation of one of two samples that are compared
};

/// The erasure amplitude is the smallest middle amplitude from which on all stronger ones are erased. Its interval runs
/// from the last amplitude that is not erased to the value.
/// @param as_prepared last plateaus of samples without earlier stages, which all amplitudes are compared with; null:
/// the weaker amplitudes are compared with the strongest usable one.
/// @return none for fewer than two usable points with two realizations each, or fewer than two as-prepared samples.
std::optional<Memory> FindMemory(std::span<const CurvePoint> points, double equal_fraction,
                                 const CurvePoint* as_prepared = nullptr);

/// Realizations per group that resolve a margin at this standard deviation of each group: equal means then test equal
/// four times in five. D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15, 657 (1987); quantiles of Student's t of pairs
/// in place of its power function. At most 1000.
int TrialsToResolve(double standard_deviation, double margin);

/// Realizations per group for which the 90 % interval of a difference leaves the margin, or stays within it, four times
/// in five if the true difference is this one; same approximation. As TrialsToResolve() for a difference of 0.
int TrialsToTell(double difference, double standard_deviation, double margin);

/// Imprint: log(value / untouched) / log(strongest / untouched), 0 where the middle stage leaves nothing and 1 where it
/// leaves as much as the strongest. 95 % interval by Fieller's theorem with the covariances of shared starts:
/// E. C. Fieller, J. R. Stat. Soc. B 16, 175 (1954). Neither if the denominator is not distinguishable from 0.
IntervalEstimate Imprint(const CurvePoint& point, const CurvePoint& untouched, const CurvePoint& strongest);

}  // namespace gyrebox::analysis
