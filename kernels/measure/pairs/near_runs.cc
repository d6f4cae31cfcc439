#include "measure/pairs/near_runs.h"

#include "measure/pairs/distance.h"

namespace gyrebox::kernels {

void CountDistances(const PositionRow& row, std::uint32_t own, std::uint32_t first, std::uint32_t last,
                    const std::uint32_t* histogram, std::uint64_t* counts) {
  constexpr double kFurthest = (kCountedBins - 0.5) * kDistanceBin;  // sigma
  constexpr std::uint32_t kPadding = PositionRow::kPadding, kBlock = 8 * kPadding;
  const std::uint32_t own_x = row.x[own], own_y = row.y[own];
  std::uint32_t bins[kBlock];
  for (; first < last; first += kBlock) {
    const std::uint32_t n = last - first < kBlock ? last - first : kBlock;
    const std::uint32_t padded = (n + kPadding - 1) / kPadding * kPadding;
    const std::uint32_t *x = row.x + first, *y = row.y + first, *begin = histogram + first;
    for (std::uint32_t i = 0; i < padded; ++i) {
      const double squared = WayBetween(own_x, own_y, x[i], y[i], row.quantum_x, row.quantum_y).squared;
      bins[i] = static_cast<std::uint32_t>(DistanceBinOf(Min(squared, kFurthest * kFurthest))) + begin[i];
    }
    for (std::uint32_t i = 0; i < n; ++i) ++counts[bins[i]];
  }
}

}  // namespace gyrebox::kernels
