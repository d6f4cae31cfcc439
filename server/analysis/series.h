/// Series of one quantity of a run.
#pragma once

#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Times in tau, rising, and a value at each.
struct Series {
  std::vector<double> times;
  std::vector<double> values;

  size_t size() const { return times.size(); }
  void Add(double time, double value) {
    times.push_back(time);
    values.push_back(value);
  }
};

/// Part of a series, from a time on.
struct SeriesView {
  std::span<const double> times;
  std::span<const double> values;

  size_t size() const { return times.size(); }
};

/// Samples from one time to another, both included.
SeriesView Between(const Series& series, double from, double to);

/// Means over whole periods, counted back from the last sample, each at the middle of its period: what an oscillating
/// drive does within a period is no fluctuation. The series itself where there is no period, or where half of the
/// periods or more hold fewer than four samples.
/// @param period tau; 0 where there is none.
Series PeriodMeans(SeriesView series, double period);

/// What an oscillating drive does within a period.
struct PhaseProfile {
  std::vector<double> means;  ///< at phases 0, 1/n, ... of a period; NaN where no sample is near
  double swing = 0;           ///< largest less smallest mean; NaN where there is none
};

/// Mean by phase of the drive, whose phase is `frequency` times the time: each sample counts at the phase nearest to
/// it.
PhaseProfile ResolvePhase(SeriesView series, double frequency, int phases);

}  // namespace gyrebox::analysis
