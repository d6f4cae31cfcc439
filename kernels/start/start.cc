#include "start/start.h"

#include <cmath>
#include <numbers>

#include "model/fixed_point.h"
#include "model/noise.h"
#include "start/separate.h"

namespace gyrebox::kernels {
namespace {

// Which beads are spinners: the first n_spinners of a random order (Fisher-Yates).
std::vector<std::uint8_t> ScatteredLabels(std::int64_t n, std::int64_t n_spinners, std::uint64_t seed) {
  std::vector<std::uint32_t> order(static_cast<std::size_t>(n));
  for (std::int64_t i = 0; i < n; ++i) order[i] = static_cast<std::uint32_t>(i);
  std::vector<std::uint8_t> spinner(static_cast<std::size_t>(n), 0);
  for (std::int64_t i = 0; i < n_spinners; ++i) {
    const double u = UniformOf(seed, Stream::kLabels, static_cast<std::uint64_t>(i), 0);
    std::swap(order[i], order[i + static_cast<std::int64_t>(u * static_cast<double>(n - i))]);
    spinner[order[i]] = 1;
  }
  return spinner;
}

void RandomPlaces(const RunSpec& spec, StartState& out) {
  for (std::int64_t i = 0; i < spec.n_beads; ++i) {
    const auto index = static_cast<std::uint64_t>(i);
    out.x[i] = ToFixed(UniformOf(spec.seeds.places, Stream::kPlaces, index, 0));
    out.y[i] = ToFixed(UniformOf(spec.seeds.places, Stream::kPlaces, index, 1));
  }
  out.failure = Separate(spec.side_x, spec.side_y, spec.start.closest_pair, out.x, out.y);
}

void TriangularPlaces(const RunSpec& spec, StartState& out) {
  const LatticeShape shape = TriangularShape(spec.n_beads, spec.side_y / spec.side_x);
  for (std::int64_t i = 0; i < spec.n_beads; ++i) {
    const std::int64_t row = i / shape.columns, column = i % shape.columns;
    const double shift = row % 2 == 0 ? 0.25 : 0.75;
    out.x[i] = ToFixed((static_cast<double>(column) + shift) / static_cast<double>(shape.columns));
    out.y[i] = ToFixed((static_cast<double>(row) + 0.5) / static_cast<double>(shape.rows));
  }
}

}  // namespace

LatticeShape TriangularShape(std::int64_t n_beads, double aspect_ratio) {
  // A perfect lattice has rows * sqrt(3)/2 over columns as aspect ratio; the shape nearest to that in ratio wins.
  LatticeShape best;
  double best_strain = 0;
  for (std::int64_t rows = 2; rows <= n_beads / 2; rows += 2) {
    if (n_beads % rows != 0) continue;
    const std::int64_t columns = n_beads / rows;
    const double natural = static_cast<double>(rows) * std::numbers::sqrt3 / 2 / static_cast<double>(columns);
    const double strain = std::abs(std::log(natural / aspect_ratio));
    if (best.rows == 0 || strain < best_strain) {
      best = {columns, rows};
      best_strain = strain;
    }
  }
  return best;
}

StartState LayOut(const RunSpec& spec) {
  StartState out;
  out.x.resize(static_cast<std::size_t>(spec.n_beads));
  out.y.resize(static_cast<std::size_t>(spec.n_beads));
  out.spinner = ScatteredLabels(spec.n_beads, spec.n_spinners, spec.seeds.places);
  switch (spec.start.places) {
    case StartSpec::Places::kRandom:
      RandomPlaces(spec, out);
      break;
    case StartSpec::Places::kTriangular:
      TriangularPlaces(spec, out);
      break;
  }
  return out;
}

}  // namespace gyrebox::kernels
