/// What a curve of sizes against a drive says: onset, peak, settled and unstable ranges, the best window.
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
  std::vector<double> trials;  ///< plateaus of the trials that ran to their end, one a start
  int unstable_count = 0;      ///< trials that became unstable

  /// Whether the point takes part: some trial counts, and fewer than half became unstable. What is left of a point
  /// where most trials blew up is a choice of the calm ones.
  bool counts() const { return !trials.empty() && !unstable(); }
  bool unstable() const { return unstable_count > 0 && unstable_count >= static_cast<int>(trials.size()); }
};

/// A place on the axis. Either all of it or the value may be missing.
struct Place {
  std::optional<double> value = {};
  std::optional<double> low = {}, high = {};  ///< missing where the interval is open to this side
  std::string note = {};                      ///< why something is missing; mostly empty
};

/// Points that take part, in rising order of x.
std::vector<CurvePoint> CountingPoints(std::span<const CurvePoint> points);

/// The neighbours that a place lies between.
struct Bracket {
  double below = 0, above = 0;
};

/// The points that count on either side of a place within their range.
Bracket BracketOf(std::span<const CurvePoint> points, double place);

/// Where the mean over trials first passes factor times the mean of the undriven values, on the straight line between
/// neighbouring points. Its 95 % interval is that of a bootstrap over trials (B. Efron and R. J. Tibshirani, An
/// Introduction to the Bootstrap, 1993, chapter 13), stretched about the value by sqrt(n / (n-1)) t(n-1) / z, as a
/// bootstrap of n values is too narrow by that (ibid., section 5.3, for the mean).
/// The interval is that of the place on the line: how far a curve bends between two points nothing tells, see
/// BracketOf().
/// @param undriven values of independent starts without drive.
Place FindOnset(std::span<const CurvePoint> points, std::span<const double> undriven, double factor);

/// The point with the largest mean. Its interval reaches over its neighbours whose mean is not lower by a Welch test at
/// 5 %.
Place FindPeak(std::span<const CurvePoint> points);

/// A stretch of the axis, from one point to another.
struct Range {
  double first = 0, last = 0;
  double mean = 0;      ///< of all trials on it
  size_t n_points = 0;  ///< that take part
};

/// Longest stretch of points, with a mean of at least `from_mean`, on which neighbours are equal within this share of
/// their common mean, see Judge(). None where no two neighbours are.
std::optional<Range> FindSettledRange(std::span<const CurvePoint> points, double share, double from_mean);

/// From the first to the last point where at least half of the trials became unstable; mean is NaN.
std::optional<Range> FindUnstableRange(std::span<const CurvePoint> points);

/// The point at which trials are most alike, and how alike.
struct Window {
  Place place = {};     ///< with its neighbours whose relative spread is not larger by an F test at 5 %
  double spread = 0;    ///< standard deviation over mean there
  size_t n_trials = 0;  ///< there
};

/// Looks among points with a mean of at least `from_mean` and two trials or more. F test of the ratio of squared
/// relative spreads: NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.9.
std::optional<Window> FindBestWindow(std::span<const CurvePoint> points, double from_mean);

}  // namespace gyrebox::analysis
