/// Time series of one quantity of a run.
#pragma once

#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Ascending times in tau, and a value at each.
struct Series {
  std::vector<double> times;
  std::vector<double> values;

  size_t size() const { return times.size(); }
  void Add(double time, double value) {
    times.push_back(time);
    values.push_back(value);
  }
};

/// View of a contiguous part of a series.
struct SeriesView {
  std::span<const double> times;
  std::span<const double> values;

  size_t size() const { return times.size(); }
};

/// Samples from one time to another, both inclusive.
SeriesView Between(const Series& series, double from, double to);

/// Means over whole periods, counted back from the last sample, each at the middle of its period: the response within a
/// period of the drive is not a fluctuation. Returns the series itself without a period, if half of the periods or more
/// hold fewer than four samples, or if fewer than two hold four.
/// @param period tau; 0 for none.
Series PeriodMeans(SeriesView series, double period);

/// Response within a period of an oscillating drive.
struct PhaseProfile {
  std::vector<double> means;  ///< at phases 0, 1/n, ... of a period; NaN without a nearby sample
  double swing = 0;           ///< peak-to-peak amplitude: largest minus smallest mean; NaN if there is none
};

/// Mean by phase of the drive, which is `frequency` times the time. Each sample counts at its nearest phase.
PhaseProfile ResolvePhase(SeriesView series, double frequency, int phases);

}  // namespace gyrebox::analysis
