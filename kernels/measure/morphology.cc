#include "measure/morphology.h"

#include <algorithm>

namespace gyrebox::kernels {
namespace {

bool AnyGoesRound(std::span<const Cluster> clusters) {
  return std::any_of(clusters.begin(), clusters.end(), [](const Cluster& c) { return c.wrap_directions > 0; });
}

}  // namespace

MorphologyClass Classify(double spinner_share, double like_share, std::span<const Cluster> spinner_clusters,
                         std::span<const Cluster> passive_clusters) {
  if (passive_clusters.empty() || !(like_share >= (1 + spinner_share) / 2)) return MorphologyClass::kNone;
  const bool spinners = AnyGoesRound(spinner_clusters), passive = AnyGoesRound(passive_clusters);
  if (spinners) return passive ? MorphologyClass::kStripes : MorphologyClass::kInverseDroplets;
  return passive ? MorphologyClass::kDroplets : MorphologyClass::kNone;
}

std::vector<Column> MorphologyColumns() {
  return {
      {"covered_area_share", "", "Share of the bed within half a bond length of the centre of a spinner.", 1},
      {"boundary_per_area", "1/sigma",
       "Length of the boundary of what lies within half a bond length of the centre of a spinner, per area of the bed.",
       1},
      {"euler_per_area", "1/sigma^2",
       "Euler characteristic of what lies within half a bond length of the centre of a spinner, pieces less holes (the "
       "gaps between three beads too), per area of the bed.",
       1},
      {"morphology_class", "",
       "1 droplets: only clusters of passive beads go round the bed; 2 stripes: clusters of both kinds do; 3 inverse "
       "droplets: only clusters of spinners do; 0 none of these, or the kinds are mixed: the share of spinners among "
       "the six nearest beads of a spinner is less than half way from the share of spinners in the bed to 1.",
       1},
  };
}

void AppendTo(const Morphology& morphology, std::vector<double>& values) {
  const CoveredShape& shape = morphology.shape;
  values.insert(values.end(),
                {shape.area_share, shape.boundary_per_area, static_cast<double>(shape.euler) / morphology.area,
                 static_cast<double>(morphology.word)});
}

}  // namespace gyrebox::kernels
