#include "measure/fault_search.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <tuple>

#include "measure/pairs/cell_list.h"
#include "model/fixed_point.h"

namespace gyrebox::kernels {
namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
// Steps judge distances in single precision, so a pair may be slightly farther apart than the limit.
constexpr double kSearchReach = 1.001;

std::vector<double> PositionIn(const FailedStep& failed, std::uint32_t id, const RunSpec& spec) {
  return {FromFixed(failed.x[id], spec.side_x), FromFixed(failed.y[id], spec.side_y)};
}

}  // namespace

void FailClosestPair(const FailedStep& failed, Course& course) {
  const RunSpec& spec = course.spec();
  CellList near;
  near.Sort(failed.x, failed.y, spec.side_x, spec.side_y, kSearchReach * spec.health.closest_pair);
  std::tuple<double, std::uint32_t, std::uint32_t> closest{kInfinity, 0, 0};  // squared distance, ids
  near.ForPairs([&](std::uint32_t one, std::uint32_t other, double, double, double squared) {
    const auto [low, high] = std::minmax({near.id(one), near.id(other)});
    closest = std::min(closest, std::tuple(squared, low, high));
  });
  const auto [squared, low, high] = closest;
  course.FailClosestPair({low, high}, PositionIn(failed, low, spec), std::sqrt(squared));
}

void FailLargestMove(const FailedStep& failed, float largest_squared, Course& course) {
  double largest = -1;
  std::uint32_t fastest = 0;
  for (std::uint32_t id = 0; id < failed.vx.size(); ++id) {
    double speed = std::hypot(failed.vx[id], failed.vy[id]);
    if (!std::isfinite(speed)) speed = kInfinity;
    if (speed <= largest) continue;
    largest = speed;
    fastest = id;
  }
  const bool is_number = std::isfinite(largest) && largest_squared < 1e29f;
  course.FailLargestMove(fastest, PositionIn(failed, fastest, course.spec()), std::sqrt(largest_squared), is_number);
}

}  // namespace gyrebox::kernels
