#include "measure/pairs/pair_correlation.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>

#include "gyrebox/bins.h"
#include "measure/blocks.h"

namespace gyrebox::kernels {
namespace {

constexpr char kCorrelation[] = "_correlation";  // ends the names of the columns

PairCounts CountPairs(const Snapshot& snapshot, CellList& near) {
  const int bins = BinsWithin(std::min(snapshot.side_x, snapshot.side_y));
  near.Sort(snapshot.x, snapshot.y, snapshot.side_x, snapshot.side_y, bins * kDistanceBin);
  const PositionRow positions = near.positions();
  std::vector<std::uint32_t> histogram(near.size() + PositionRow::kPadding);
  for (std::uint32_t rank = 0; rank < near.size(); ++rank) {
    histogram[rank] = snapshot.spinner[near.id(rank)] * std::uint32_t{kCountedBins};
  }
  // One histogram for each number of spinners in a pair.
  using Counts = std::array<std::uint64_t, 3 * kCountedBins>;
  const auto blocks = SumsOfBlocks(near.size(), [&](std::uint32_t begin, std::uint32_t end) {
    Counts counts{};
    for (std::uint32_t rank = begin; rank < end; ++rank) {
      near.ForRunsAfter(rank, [&](std::uint32_t first, std::uint32_t last) {
        CountDistances(positions, rank, first, last, histogram.data(), counts.data() + histogram[rank]);
      });
    }
    return counts;
  });
  PairCounts out{};
  for (const Counts& counts : blocks) {
    for (std::size_t kind = 0; kind < 3; ++kind) {
      for (std::size_t bin = 0; bin < kDistanceBins; ++bin) out.of[kind][bin] += counts[kind * kCountedBins + bin];
    }
  }
  return out;
}

// @param n_pairs of this kind in the bed. @param area of the bed.
PairCorrelation::Curve Curve(const unsigned long long (&counts)[kDistanceBins], int bins, double n_pairs, double area) {
  PairCorrelation::Curve curve;
  curve.fill(std::numeric_limits<double>::quiet_NaN());
  if (n_pairs == 0) return curve;
  for (int bin = 0; bin < bins; ++bin) {
    const double ring = std::numbers::pi * kDistanceBin * kDistanceBin * (2 * bin + 1);
    curve[static_cast<std::size_t>(bin)] = static_cast<double>(counts[bin]) * area / (n_pairs * ring);
  }
  return curve;
}

}  // namespace

PairCorrelation MeasurePairCorrelation(const Snapshot& snapshot, CellList& scratch) {
  const auto spinners = static_cast<double>(std::count(snapshot.spinner.begin(), snapshot.spinner.end(), 1));
  const double passive = static_cast<double>(snapshot.spinner.size()) - spinners;
  return CorrelationOf(CountPairs(snapshot, scratch), spinners, passive, snapshot.side_x, snapshot.side_y);
}

PairCorrelation CorrelationOf(const PairCounts& counts, double spinners, double passive, double side_x, double side_y) {
  const int bins = BinsWithin(std::min(side_x, side_y));
  const double area = side_x * side_y;
  return {Curve(counts.of[2], bins, spinners * (spinners - 1) / 2, area),
          Curve(counts.of[1], bins, spinners * passive, area),
          Curve(counts.of[0], bins, passive * (passive - 1) / 2, area)};
}

Bins BinsOf(const Column& column) {
  const bool is_correlation = column.width == kDistanceBins && column.name.ends_with(kCorrelation);
  return is_correlation ? Bins{0, kDistanceBin, "sigma"} : Bins();
}

std::vector<Column> PairCorrelationColumns() {
  const auto column = [](const char* name, const char* pairs) {
    return Column{std::string(name) + kCorrelation, "",
                  std::string("Number of pairs of ") + pairs +
                      " by distance, in 200 bins of 0.02 sigma from 0 up to at most half the shorter side, over the "
                      "mean number in beads without order.",
                  kDistanceBins};
  };
  return {column("spinner_spinner", "two spinners"), column("spinner_passive", "a spinner and a passive bead"),
          column("passive_passive", "two passive beads")};
}

void AppendTo(const PairCorrelation& correlation, std::vector<double>& values) {
  for (const auto* curve : {&correlation.spinner_spinner, &correlation.spinner_passive, &correlation.passive_passive}) {
    values.insert(values.end(), curve->begin(), curve->end());
  }
}

}  // namespace gyrebox::kernels
