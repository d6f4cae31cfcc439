#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

#include "gyrebox/run_spec.h"
#include "neighbors/reach.h"
#include "start/start.h"

namespace gyrebox::kernels {
namespace {

constexpr double kCoarsestQuantum = 1e-5;  // sigma: a slow bead must not feel the grid of positions
constexpr double kDiscArea = std::numbers::pi / 4;

std::string Text(const char* format, double a, double b) {
  char text[200];
  std::snprintf(text, sizeof(text), format, a, b);
  return text;
}

std::string SavedBedFault(const RunSpec& spec) {
  if (spec.start.saved == nullptr) return "there is no saved bed to start from";
  const SavedBed& saved = *spec.start.saved;
  const auto n = static_cast<std::size_t>(spec.n_beads);
  if (saved.x.size() != n || saved.y.size() != n || saved.angle.size() != n || saved.spinner.size() != n) {
    return Text("the saved bed has %.0f beads, not %.0f", static_cast<double>(saved.x.size()), static_cast<double>(n));
  }
  const auto spinners = std::count(saved.spinner.begin(), saved.spinner.end(), 1);
  if (spinners != spec.n_spinners) {
    return Text("the saved bed has %.0f spinners, not %.0f", static_cast<double>(spinners),
                static_cast<double>(spec.n_spinners));
  }
  if (saved.side_x != spec.side_x || saved.side_y != spec.side_y) {
    return Text("the saved bed has sides of %.6g by %.6g sigma; take these", saved.side_x, saved.side_y);
  }
  return "";
}

}  // namespace

Sides FitSides(StartSpec::Arrangement arrangement, std::int64_t n_beads, double packing_fraction, double aspect_ratio) {
  const double area = static_cast<double>(n_beads) * kDiscArea / packing_fraction;
  double ratio = aspect_ratio;
  if (arrangement == StartSpec::Arrangement::kTriangular || arrangement == StartSpec::Arrangement::kSquare) {
    const LatticeShape shape = ShapeOfLattice(arrangement, n_beads, aspect_ratio);
    if (shape.rows > 0)
      ratio = static_cast<double>(shape.rows) * RowHeight(arrangement) / static_cast<double>(shape.columns);
  }
  return {std::sqrt(area / ratio), std::sqrt(area * ratio)};
}

std::vector<SpecFault> Validate(const RunSpec& spec) {
  std::vector<SpecFault> faults;
  if (spec.n_beads < 1) return {{"n_beads", "a bed needs at least 1 bead"}};
  const double shortest = 2 * ListReach(spec);
  for (const auto& [field, side] : {std::pair{"side_x", spec.side_x}, std::pair{"side_y", spec.side_y}}) {
    if (!(side >= shortest)) {
      faults.push_back({field, Text("a side of %.4g sigma is too short; at least %.4g sigma, twice the longest "
                                    "reach: take more beads or an aspect ratio nearer to 1",
                                    side, shortest)});
    } else if (side * 0x1p-32 > kCoarsestQuantum) {
      faults.push_back({field, Text("a side of %.4g sigma is too long for 32-bit positions; at most %.4g sigma", side,
                                    kCoarsestQuantum * 0x1p32)});
    }
  }
  if (spec.start.arrangement == StartSpec::Arrangement::kTriangular &&
      ShapeOfLattice(spec.start.arrangement, spec.n_beads, spec.side_y / spec.side_x).rows == 0) {
    faults.push_back({"n_beads", Text("%.0f beads fill no triangular lattice of whole rows; take an even number of "
                                      "rows times a number of columns, such as %.0f",
                                      static_cast<double>(spec.n_beads),
                                      static_cast<double>(std::max<std::int64_t>(4, (spec.n_beads + 3) / 4 * 4)))});
  }
  if (spec.start.arrangement == StartSpec::Arrangement::kSaved) {
    if (const std::string fault = SavedBedFault(spec); !fault.empty()) faults.push_back({"start.saved", fault});
  }
  if (spec.n_spinners < 0 || spec.n_spinners > spec.n_beads) {
    faults.push_back({"n_spinners", Text("%.0f spinners; from 0 to %.0f", static_cast<double>(spec.n_spinners),
                                         static_cast<double>(spec.n_beads))});
  }
  return faults;
}

}  // namespace gyrebox::kernels
