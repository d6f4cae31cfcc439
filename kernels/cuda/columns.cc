#include "cuda/columns.h"

#include <cmath>
#include <limits>

#include "measure/observables.h"

namespace gyrebox::kernels::cuda {
namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

CostlyObservables CostlyOf(const MeasuredSums& sums, const RunSpec& spec, const ClusterSummary& spinner_clusters) {
  const auto spinners = static_cast<double>(spec.n_spinners), passive = static_cast<double>(spec.n_beads) - spinners;
  const double area = spec.side_x * spec.side_y;
  CostlyObservables out;
  out.waves = StructureOf(sums.shells, spec.side_x, spec.side_y, static_cast<std::size_t>(spec.n_spinners),
                          {spec.measure.first_wave_shell, spec.measure.last_wave_shell});
  out.order =
      BondOrderOf(sums.order, static_cast<std::size_t>(spec.n_beads), static_cast<std::size_t>(spec.n_spinners));
  out.correlation = CorrelationOf(sums.pairs, spinners, passive, spec.side_x, spec.side_y);
  const Domains domains = {.spinners = spinner_clusters,
                           .passive = Summarize(sums.passive),
                           .spinner_count = spinners,
                           .passive_count = passive,
                           .area = area,
                           .spacing = out.waves.spacing,
                           .same_kind_fraction = out.order.same_kind_fraction};
  out.morphology = {MinkowskiFunctionalsOf(sums.discs, area), area, Classify(domains)};
  return out;
}

}  // namespace

std::vector<double> ColumnsOf(const MeasuredSums& sums, const Probe& probe, const RunSpec& spec, double temperature,
                              bool whole) {
  Findings found;
  found.clusters = Summarize(sums.spinners);
  found.transport = TransportOf(sums.square, sums.passive_spin, {spec.n_beads - spec.n_spinners, spec.n_spinners});
  found.energetics =
      EnergeticsOf(sums.forces, sums.power, static_cast<double>(spec.n_beads), spec.side_x * spec.side_y, temperature);
  if (whole) found.structure = CostlyOf(sums, spec, found.clusters);
  found.lost_beads = static_cast<std::int64_t>(sums.lost);
  const bool alone = probe.closest_squared > 1e29;
  found.closest_pair = alone ? kNan : std::sqrt(probe.closest_squared);
  found.largest_move = std::sqrt(probe.largest_move_squared);
  found.friction_residual = probe.residual;
  return ValuesOf(found);
}

}  // namespace gyrebox::kernels::cuda
