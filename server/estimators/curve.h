/// Features of a curve of size against drive: onset, peak, saturation regime, unstable and most reproducible range.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "estimators/log_means.h"

namespace gyrebox::analysis {

/// One point of a curve.
struct CurvePoint {
  double x = 0;
  std::vector<double> trials;    ///< plateau of each finished realization, above 0
  int unstable_count = 0;        ///< realizations that became unstable
  std::vector<int> starts = {};  ///< of each realization, ascending, see Sample; may be left out

  /// Whether the point is usable: at least one realization finished, and fewer than half became unstable. Where most
  /// became unstable the survivors are a biased sample.
  bool counts() const { return !trials.empty() && !unstable(); }
  bool unstable() const { return unstable_count > 0 && unstable_count >= static_cast<int>(trials.size()); }
};

/// An estimate on the axis with its interval. The value, or all of it, may be missing.
struct IntervalEstimate {
  std::optional<double> value = {};
  std::optional<double> low = {}, high = {};  ///< missing where the interval is open on this side
  std::string note = {};                      ///< why something is missing; mostly empty
};

/// Logarithms of a point's sizes.
Sample LogsOf(const CurvePoint& point);
/// Geometric mean of a point's sizes.
double GeometricMean(const CurvePoint& point);

/// Usable points in ascending x.
std::vector<CurvePoint> CountingPoints(std::span<const CurvePoint> points);

/// Neighbouring points on either side of an estimate.
struct Bracket {
  double below = 0, above = 0;
};

/// Usable points on either side of an estimate within their range; the estimate itself for fewer than two points.
Bracket BracketOf(std::span<const CurvePoint> points, double estimate);

/// Where the geometric mean over realizations first reaches factor times that of the undriven beds, by linear
/// interpolation between neighbouring points. The 95 % interval holds the positions about it at which the interpolated
/// logarithm of size over undriven size is not distinguishable from that of the factor, start by start: E. C. Fieller,
/// J. R. Stat. Soc. B 16, 175 (1954), of pairs; see PriorOf() for the error. It is open where an end of the range is
/// among them. It does not cover curvature between two points, see BracketOf().
/// @param undriven the point of the beds without drive; may be one of the points.
IntervalEstimate FindOnset(std::span<const CurvePoint> points, const CurvePoint& undriven, double factor);

/// Points that can be the extreme one, on the logarithmic scale.
struct Extreme {
  IntervalEstimate estimate = {};  ///< position of the extreme mean; the interval spans the points that can be it
  size_t compared = 0;             ///< usable points
  LogMean mean = {};               ///< logarithm of the size there
  double half_width = 0;           ///< of the logarithm: 95 % for all compared points at once
};

/// The point with the largest geometric mean. Its interval spans all points that are not smaller than it by a one-sided
/// test at 5 % over the number of compared points: it holds the largest true mean of the points in at least 95 % of
/// studies, whatever was selected (J. C. Hsu, Ann. Stat. 12, 1136 (1984), with Bonferroni's bound). It is open at an
/// end of the range that is among them. None without usable points.
std::optional<Extreme> FindLargest(std::span<const CurvePoint> points);
/// The same of the smallest geometric mean.
std::optional<Extreme> FindSmallest(std::span<const CurvePoint> points);

/// A range of the axis, from one point to another.
struct Range {
  double first = 0, last = 0;
  double mean = 0;      ///< geometric, of all realizations in it
  size_t n_points = 0;  ///< usable points in it
};

/// Saturation regime: the longest range of points with a mean of at least `from_mean` in which neighbours are equal
/// within this fraction: the 90 % interval of their log ratio lies within log(1 + fraction), up and down (D. J.
/// Schuirmann, J. Pharmacokinet. Biopharm. 15, 657 (1987)). None if no two neighbours are.
std::optional<Range> FindStationaryRange(std::span<const CurvePoint> points, double fraction, double from_mean);

/// From the first to the last point where at least half of the realizations became unstable; mean is NaN.
std::optional<Range> FindUnstableRange(std::span<const CurvePoint> points);

/// The most reproducible point and its spread over realizations.
struct Window {
  IntervalEstimate estimate = {};  ///< spans the points whose spread is not larger, for all at once
  double spread = 0;               ///< CV there: sqrt(exp(s^2) - 1), s the standard deviation of the logarithms
  double low = 0, high = 0;        ///< its 95 % interval, for all compared points at once
  size_t n_trials = 0;             ///< there
};

/// Searches points with a geometric mean of at least `from_mean` and at least two realizations. F tests of the ratio of
/// the variances of logarithms at 5 % over the number of compared points (NIST/SEMATECH e-Handbook of Statistical
/// Methods, section 1.3.5.9, with Bonferroni's bound); shared starts only narrow the distribution of such a ratio.
/// Interval of the spread by chi-squared, section 1.3.5.8, with the same bound.
std::optional<Window> FindBestWindow(std::span<const CurvePoint> points, double from_mean);

}  // namespace gyrebox::analysis
