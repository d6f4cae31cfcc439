/// What a bed remembers of a middle stage, from the plateaus of its last stage.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "analysis/curve.h"
#include "analysis/statistics.h"

namespace gyrebox::analysis {

/// One middle amplitude that takes part.
struct Trace {
  double x = 0;                ///< middle amplitude
  Difference difference = {};  ///< last plateau less reference
  double half_width = 0;       ///< of the 90 % interval of the difference
  bool wiped = false;          ///< the interval lies within the margin
  bool kept = false;           ///< the difference itself lies beyond the margin; neither: the trials cannot tell
};

/// What is left of the middle stages.
struct Memory {
  double reference_x = 0;          ///< strongest middle amplitude that takes part
  Summary reference = {};          ///< last plateaus after it
  double margin = 0;               ///< share of the reference that counts as equal, in the unit of the plateaus
  std::vector<Trace> traces = {};  ///< the others, in rising order
  Place reset = {};                ///< reset amplitude
  double resolved = 0;             ///< middle one of the half widths: smaller differences the trials could not see
};

/// The reset amplitude is the smallest middle amplitude from which all stronger ones are wiped. Its interval reaches
/// from the last amplitude that is not wiped, whose difference itself lies beyond the margin, to the value. None where
/// fewer than two points with two trials take part.
std::optional<Memory> FindMemory(std::span<const CurvePoint> points, double equal_share);

/// Trials of each group that would resolve a margin with this relative spread of each group: those for which equal
/// means come out equal four times in five. D. J. Schuirmann as in Judge(); normal approximation.
int TrialsToResolve(double standard_deviation, double margin);

/// (value - reference) / (untouched - reference), and its 95 % interval by Fieller's theorem with the reference in both
/// differences: E. C. Fieller, J. R. Stat. Soc. B 16, 175 (1954). No interval where the denominator is not told from 0.
Place MemoryIndex(std::span<const double> values, std::span<const double> untouched, std::span<const double> reference);

}  // namespace gyrebox::analysis
