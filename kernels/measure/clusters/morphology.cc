#include "measure/clusters/morphology.h"

namespace gyrebox::kernels {
namespace {

// Measured at 1536 beads: droplets have 1.2 times the beads of one domain, winding stripes over 10 times.
constexpr double kMaxDomains = 3;

bool HoldsTogether(const ClusterSummary& clusters, double beads_per_domain) {
  return clusters.wrapping_count > 0 || clusters.weight_average_size > kMaxDomains * beads_per_domain;
}

}  // namespace

MorphologyClass Classify(const Domains& d) {
  const double by_chance = d.spinner_count / (d.spinner_count + d.passive_count);
  if (d.passive_count == 0 || !(d.same_kind_fraction >= (1 + by_chance) / 2)) return MorphologyClass::kNone;
  const double fraction_of_domain = d.spacing * d.spacing / d.area;
  const bool spinners = HoldsTogether(d.spinners, d.spinner_count * fraction_of_domain);
  const bool passive = HoldsTogether(d.passive, d.passive_count * fraction_of_domain);
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
       "1 droplets: only passive beads hold together; 2 stripes, straight or winding: both kinds do; 3 inverse "
       "droplets: only spinners do; 0 neither does, or the kinds are mixed. A kind holds together where a cluster of "
       "it "
       "goes round the bed, or the weight-average size of its clusters is over three times the beads of the kind in "
       "the "
       "square of the domain spacing. The kinds are mixed where the share of spinners among the six nearest beads of a "
       "spinner is less than half way from the share of spinners in the bed to 1.",
       1},
  };
}

void AppendTo(const Morphology& morphology, std::vector<double>& values) {
  const MinkowskiFunctionals& shape = morphology.shape;
  values.insert(values.end(),
                {shape.area_fraction, shape.boundary_per_area, static_cast<double>(shape.euler) / morphology.area,
                 static_cast<double>(morphology.word)});
}

}  // namespace gyrebox::kernels
