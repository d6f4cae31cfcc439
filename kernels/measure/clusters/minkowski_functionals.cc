#include "measure/clusters/minkowski_functionals.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace gyrebox::kernels {
namespace {

// The chords that a disc shares with its neighbours.
struct Chords {
  std::vector<DiscChord> all;

  template <class Visit>
  bool ForChords(Visit visit) const {
    for (std::uint32_t k = 0; k < all.size(); ++k) {
      if (!visit(k, all[k])) return false;
    }
    return true;
  }
};

}  // namespace

MinkowskiFunctionals MeasureMinkowskiFunctionals(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y,
                                                 double side_x, double side_y, double radius, CellList& scratch) {
  scratch.Sort(x, y, side_x, side_y, 2 * radius);
  Chords chords;
  DiscSums sums;
  for (std::uint32_t rank = 0; rank < scratch.size(); ++rank) {
    chords.all.clear();
    bool repeats = false;  // a coincident bead has already counted
    scratch.ForBeadsAround(rank, [&](std::uint32_t other, double dx, double dy, double r2) {
      if (r2 > 4 * radius * radius) return;
      repeats |= r2 == 0 && other < rank;
      if (r2 > 0) chords.all.emplace_back(dx, dy, std::sqrt(r2), radius);
    });
    if (!repeats) AddDiscPart(radius, chords, sums);
  }
  return MinkowskiFunctionalsOf(sums, side_x * side_y);
}

MinkowskiFunctionals MinkowskiFunctionalsOf(const DiscSums& sums, double area) {
  return {sums.area / area, std::max(0.0, sums.boundary / area), std::llround(sums.turning / (2 * std::numbers::pi))};
}

}  // namespace gyrebox::kernels
