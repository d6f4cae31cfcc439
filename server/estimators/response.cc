#include "estimators/response.h"

#include <algorithm>
#include <cmath>

namespace gyrebox::analysis {

std::optional<double> ResponseTime(SeriesView after, double switch_time, double old_plateau, double new_plateau) {
  const double step = new_plateau - old_plateau;
  if (after.size() == 0 || step == 0) return std::nullopt;
  double area = 0, time = switch_time, left = step;
  for (size_t i = 0; i < after.size(); ++i) {
    const double still_left = new_plateau - after.values[i];
    area += (after.times[i] - time) * (left + still_left) / 2;
    time = after.times[i];
    left = still_left;
  }
  return area / step;
}

IntervalEstimate ChangeNeeded(std::span<const Change> changes, double factor) {
  const double sense = factor > 1 ? 1 : -1;
  const double wanted = std::abs(std::log(factor));
  std::vector<std::pair<double, double>> steps = {{0, 0}};
  for (const Change& change : changes) {
    const double stronger = sense * std::log(change.drive_ratio);
    if (stronger > 0) steps.emplace_back(stronger, sense * std::log(change.size_ratio));
  }
  if (steps.size() < 2) return {.note = "no stage changes the amplitude this way"};
  std::sort(steps.begin(), steps.end());
  for (size_t i = 1; i < steps.size(); ++i) {
    const auto [x0, y0] = steps[i - 1];
    const auto [x1, y1] = steps[i];
    if (y1 < wanted) continue;
    const double estimate = y1 > y0 ? x0 + (x1 - x0) * (wanted - y0) / (y1 - y0) : x1;
    IntervalEstimate needed{
        .value = std::exp(sense * estimate), .low = std::exp(sense * x0), .high = std::exp(sense * x1)};
    if (sense < 0) std::swap(needed.low, needed.high);
    return needed;
  }
  IntervalEstimate none{.note = "not reached in this range"};
  (sense > 0 ? none.low : none.high) = std::exp(sense * steps.back().first);
  return none;
}

}  // namespace gyrebox::analysis
