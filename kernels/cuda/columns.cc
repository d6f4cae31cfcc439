#include "cuda/columns.h"

#include <cmath>
#include <limits>

#include "measure/observables.h"

namespace gyrebox::kernels::cuda {
namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

Structure StructureOf(const MeasuredSums& sums, const RunSpec& spec, const ClusterSummary& spinner_clusters) {
  const auto spinners = static_cast<double>(spec.n_spinners), passive = static_cast<double>(spec.n_beads) - spinners;
  const double area = spec.side_x * spec.side_y;
  Structure out;
  out.waves = kernels::StructureOf(sums.shells, spec.side_x, spec.side_y, static_cast<std::size_t>(spec.n_spinners));
  out.order =
      BondOrderOf(sums.order, static_cast<std::size_t>(spec.n_beads), static_cast<std::size_t>(spec.n_spinners));
  out.correlation = CorrelationOf(sums.pairs, spinners, passive, spec.side_x, spec.side_y);
  const Domains domains = {.spinners = spinner_clusters,
                           .passive = Summarize(sums.passive),
                           .spinner_count = spinners,
                           .passive_count = passive,
                           .area = area,
                           .spacing = out.waves.spacing,
                           .like_share = out.order.like_share};
  out.morphology = {CoveredShapeOf(sums.discs, area), area, Classify(domains)};
  return out;
}

}  // namespace

std::vector<double> ColumnsOf(const MeasuredSums& sums, const Photograph& photograph, const RunSpec& spec,
                              double temperature, bool whole) {
  Findings found;
  found.clusters = Summarize(sums.spinners);
  found.transport = TransportOf(sums.square, sums.passive_spin, {spec.n_beads - spec.n_spinners, spec.n_spinners});
  found.energetics =
      EnergeticsOf(sums.forces, sums.power, static_cast<double>(spec.n_beads), spec.side_x * spec.side_y, temperature);
  if (whole) found.structure = StructureOf(sums, spec, found.clusters);
  found.lost_beads = static_cast<std::int64_t>(sums.lost);
  const bool alone = photograph.closest_squared > 1e29;
  found.closest_pair = alone ? kNan : std::sqrt(photograph.closest_squared);
  found.largest_move = std::sqrt(photograph.largest_move_squared);
  found.friction_residual = photograph.residual;
  return ValuesOf(found);
}

}  // namespace gyrebox::kernels::cuda
