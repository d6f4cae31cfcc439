/// Features of a curve of size against drive: onset, peak, saturation regime, unstable and most reproducible range.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace gyrebox::analysis {

/// One point of a curve.
struct CurvePoint {
  double x = 0;
  std::vector<double> trials;  ///< plateau of each finished realization
  int unstable_count = 0;      ///< realizations that became unstable

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

/// Usable points in ascending x.
std::vector<CurvePoint> CountingPoints(std::span<const CurvePoint> points);

/// Neighbouring points on either side of an estimate.
struct Bracket {
  double below = 0, above = 0;
};

/// Usable points on either side of an estimate within their range; the estimate itself for fewer than two points.
Bracket BracketOf(std::span<const CurvePoint> points, double estimate);

/// Where the mean over realizations first reaches factor times the mean of the undriven values, by linear interpolation
/// between neighbouring points. The 95 % interval is a bootstrap over realizations (B. Efron and R. J. Tibshirani, An
/// Introduction to the Bootstrap, 1993, chapter 13), stretched about the value by sqrt(n / (n-1)) t(n-1) / z, since a
/// bootstrap of n values is too narrow by that factor (ibid., section 5.3, for the mean).
/// The interval is that of the interpolated value; it does not cover curvature between two points, see BracketOf().
/// @param undriven values of independent realizations without drive.
IntervalEstimate FindOnset(std::span<const CurvePoint> points, std::span<const double> undriven, double factor);

/// The point with the largest mean. Its interval extends over neighbours whose mean is not lower by a Welch test at 5
/// %.
IntervalEstimate FindPeak(std::span<const CurvePoint> points);

/// A range of the axis, from one point to another.
struct Range {
  double first = 0, last = 0;
  double mean = 0;      ///< of all realizations in it
  size_t n_points = 0;  ///< usable points in it
};

/// Saturation regime: the longest range of points with a mean of at least `from_mean` in which neighbours are equal
/// within this fraction of their common mean, see Judge(). None if no two neighbours are.
std::optional<Range> FindStationaryRange(std::span<const CurvePoint> points, double fraction, double from_mean);

/// From the first to the last point where at least half of the realizations became unstable; mean is NaN.
std::optional<Range> FindUnstableRange(std::span<const CurvePoint> points);

/// The most reproducible point and its spread over realizations.
struct Window {
  IntervalEstimate estimate = {};  ///< with its neighbours whose relative spread is not larger by an F test at 5 %
  double spread = 0;               ///< standard deviation over mean there
  size_t n_trials = 0;             ///< there
};

/// Searches points with a mean of at least `from_mean` and at least two realizations. F test of the ratio of squared
/// relative spreads: NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.9.
std::optional<Window> FindBestWindow(std::span<const CurvePoint> points, double from_mean);

}  // namespace gyrebox::analysis
