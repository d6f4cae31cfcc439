#include "estimators/loop.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "estimators/slope.h"
#include "estimators/statistics.h"

namespace gyrebox::analysis {

double EnclosedArea(std::span<const SweepPoint> loop) {
  double area = 0;
  for (size_t i = 0; i < loop.size(); ++i) {
    const SweepPoint &from = loop[i], &to = loop[(i + 1) % loop.size()];
    area += (to.value - from.value) * (from.x + to.x) / 2;
  }
  return area;
}

using Branch = std::map<double, double>;

static Branch BranchOf(std::span<const SweepPoint> points) {
  std::map<double, Moments> moments;
  for (const SweepPoint& point : points) moments[point.x].Add(point.value);
  Branch branch;
  for (const auto& [x, values] : moments) branch[x] = values.mean();
  return branch;
}

/// Interpolated value of a branch at a drive within its range.
static double At(const Branch& branch, double x) {
  const auto above = branch.lower_bound(x);
  if (above->first == x) return above->second;
  const auto below = std::prev(above);
  return below->second + (above->second - below->second) * (x - below->first) / (above->first - below->first);
}

std::optional<double> SignedAreaBetween(std::span<const SweepPoint> up_points,
                                        std::span<const SweepPoint> down_points) {
  const Branch up = BranchOf(up_points), down = BranchOf(down_points);
  if (up.empty() || down.empty()) return std::nullopt;
  const double first = std::max(up.begin()->first, down.begin()->first);
  const double last = std::min(up.rbegin()->first, down.rbegin()->first);
  if (first >= last) return std::nullopt;
  std::map<double, double> gaps;
  for (const Branch& branch : {up, down}) {
    for (const auto& [x, value] : branch) {
      if (x >= first && x <= last) gaps[x] = At(down, x) - At(up, x);
    }
  }
  double area = 0;
  for (auto to = std::next(gaps.begin()), from = gaps.begin(); to != gaps.end(); from = to++) {
    area += (to->first - from->first) * (from->second + to->second) / 2;
  }
  return area;
}

double AreaOfDelay(double rate, double delay, double height) { return 2 * std::abs(rate) * delay * std::abs(height); }

std::optional<RestingArea> ExtrapolateToRest(std::span<const double> rates, std::span<const double> areas) {
  std::vector<double> powers;
  for (const double rate : rates) powers.push_back(std::pow(std::abs(rate), 2.0 / 3));
  if (powers.empty() ||
      *std::max_element(powers.begin(), powers.end()) == *std::min_element(powers.begin(), powers.end())) {
    return std::nullopt;
  }
  if (powers.size() == 2) {
    const double factor = (areas[1] - areas[0]) / (powers[1] - powers[0]);
    return RestingArea{areas[0] - factor * powers[0], factor, std::numeric_limits<double>::infinity()};
  }
  const Slope line = FitLine(powers, areas);
  RestingArea rest{line.mean_y - line.value * line.mean_x, line.value};
  Moments of_x;
  for (const double power : powers) of_x.Add(power);
  // Variance at x = 0: that of the mean point and that of the slope (NIST/SEMATECH e-Handbook, section 4.5.1.2).
  const double scatter2 = line.standard_error * line.standard_error * of_x.squares();
  const double error =
      std::sqrt(scatter2 / static_cast<double>(powers.size()) + std::pow(line.mean_x * line.standard_error, 2));
  rest.half_width = StudentT(0.975, line.degrees_of_freedom) * error;
  return rest;
}

}  // namespace gyrebox::analysis
