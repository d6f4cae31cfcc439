/// Imprint of a middle stage on the plateau of the last stage.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "estimators/curve.h"
#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// One usable middle amplitude.
struct Trace {
  double x = 0;                ///< middle amplitude
  Difference difference = {};  ///< last plateau minus reference
  double half_width = 0;       ///< of the 90 % interval of the difference
  bool erased = false;         ///< the interval lies within the margin
  bool kept = false;           ///< the interval lies outside the margin; neither flag: cannot tell
  int trials_needed = 0;       ///< realizations per amplitude that would tell, at this difference and spread
};

/// Imprints of the middle stages.
struct Memory {
  double reference_x = 0;          ///< strongest usable middle amplitude
  Summary reference = {};          ///< last plateaus after it
  double margin = 0;               ///< max difference that counts as equal, in the unit of the plateaus
  std::vector<Trace> traces = {};  ///< the weaker amplitudes, ascending
  IntervalEstimate reset = {};     ///< erasure amplitude
  double resolved = 0;             ///< median half width: smaller differences are not resolved
};

/// The erasure amplitude is the smallest middle amplitude from which on all stronger ones are erased. Its interval runs
/// from the last amplitude that is not erased to the value. None for fewer than two usable points with two realizations
/// each.
std::optional<Memory> FindMemory(std::span<const CurvePoint> points, double equal_fraction);

/// Realizations per group that resolve a margin at this standard deviation of each group: equal means then test equal
/// four times in five. D. J. Schuirmann as in Judge(); normal approximation.
int TrialsToResolve(double standard_deviation, double margin);

/// Realizations per group for which the 90 % interval of a difference leaves the margin, or stays within it, four times
/// in five if the true difference is this one; normal approximation. As TrialsToResolve() for a difference of 0.
int TrialsToTell(double difference, double standard_deviation, double margin);

/// (value - reference) / (untouched - reference), and its 95 % interval by Fieller's theorem with the reference in both
/// differences: E. C. Fieller, J. R. Stat. Soc. B 16, 175 (1954). Neither if the denominator is not distinguishable
/// from 0.
IntervalEstimate MemoryIndex(std::span<const double> values, std::span<const double> untouched,
                             std::span<const double> reference);

}  // namespace gyrebox::analysis
