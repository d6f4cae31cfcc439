#include "estimators/series.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// Minimum number of samples in a period for a period mean.
constexpr size_t kFewestInPeriod = 4;
/// Round-off of times, as a fraction of a period.
constexpr double kRoundOff = 1e-6;

SeriesView Between(const Series& series, double from, double to) {
  const auto first = std::lower_bound(series.times.begin(), series.times.end(), from) - series.times.begin();
  const auto last = std::upper_bound(series.times.begin(), series.times.end(), to) - series.times.begin();
  const auto count = static_cast<size_t>(std::max<std::ptrdiff_t>(0, last - first));
  return {std::span(series.times).subspan(first, count), std::span(series.values).subspan(first, count)};
}

static Series Copy(SeriesView view) {
  return {{view.times.begin(), view.times.end()}, {view.values.begin(), view.values.end()}};
}

Series PeriodMeans(SeriesView series, double period) {
  if (!(period > 0) || series.size() == 0) return Copy(series);
  const double end = series.times.back();
  const auto whole = static_cast<size_t>((end - series.times.front()) / period + kRoundOff);
  std::vector<Moments> periods(whole);
  for (size_t i = 0; i < series.size(); ++i) {
    const double back = (end - series.times[i]) / period + kRoundOff;
    if (back < static_cast<double>(whole)) periods[whole - 1 - static_cast<size_t>(back)].Add(series.values[i]);
  }
  const auto full = std::count_if(periods.begin(), periods.end(),
                                  [](const Moments& moments) { return moments.count() >= kFewestInPeriod; });
  if (static_cast<size_t>(full) * 2 <= whole || full < 2) return Copy(series);
  Series means;
  for (size_t k = 0; k < whole; ++k) {
    if (periods[k].count() < kFewestInPeriod) continue;
    means.Add(end - (static_cast<double>(whole - k) - 0.5) * period, periods[k].mean());
  }
  return means;
}

PhaseProfile ResolvePhase(SeriesView series, double frequency, int phases) {
  std::vector<Moments> at(phases);
  for (size_t i = 0; i < series.size(); ++i) {
    const double turns = series.times[i] * frequency;
    at[std::lround((turns - std::floor(turns)) * phases) % phases].Add(series.values[i]);
  }
  PhaseProfile profile;
  double smallest = std::numeric_limits<double>::infinity(), largest = -smallest;
  for (const Moments& moments : at) {
    const bool any = moments.count() > 0;
    profile.means.push_back(any ? moments.mean() : std::numeric_limits<double>::quiet_NaN());
    if (any) smallest = std::min(smallest, moments.mean()), largest = std::max(largest, moments.mean());
  }
  profile.swing = largest >= smallest ? largest - smallest : std::numeric_limits<double>::quiet_NaN();
  return profile;
}

}  // namespace gyrebox::analysis
