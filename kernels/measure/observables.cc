#include "measure/observables.h"

#include <algorithm>
#include <limits>

#include "measure/pairs/cell_list.h"

namespace gyrebox::kernels {
namespace {

struct Positions {
  std::vector<std::uint32_t> x, y;

  void SetTo(const Snapshot& snapshot, std::uint8_t kind) {
    x.clear();
    y.clear();
    for (std::size_t i = 0; i < snapshot.x.size(); ++i) {
      if (snapshot.spinner[i] != kind) continue;
      x.push_back(snapshot.x[i]);
      y.push_back(snapshot.y[i]);
    }
  }
};

// Scratch memory, one per thread: there are far more beds than threads.
struct Scratch {
  Positions spinners, passive;
  ClusterFinder clusters;
  CellList near;
  StructureFactor structure;
};
Scratch& ScratchOfThread() {
  thread_local Scratch scratch;
  return scratch;
}

std::vector<Column> HealthColumns() {
  return {
      {"lost_beads", "", "Number of beads that are not found under their own number; 0 in a sound run.", 1},
      {"closest_pair", "sigma", "Distance of the closest pair of beads within reach of each other.", 1},
      {"largest_move", "sigma", "Largest move of any bead in the step from this moment on.", 1},
      {"friction_residual", "",
       "How far the motion is from balancing all forces: |b - A V| / |b| of the friction system A V = b. Of a lagged "
       "step with noise: b and V without what noise makes of them; of first order |b0 . (b0 - A V)| / (|b0| |b|), b0 "
       "the "
       "forces without noise, which averages the noise of single steps out.",
       1},
  };
}

std::vector<Column> WholeColumns(const ShellRange& range = {}) {
  std::vector<Column> columns = StructureColumns(range);
  for (const auto& more : {PairCorrelationColumns(), BondOrderColumns(), MorphologyColumns()}) {
    columns.insert(columns.end(), more.begin(), more.end());
  }
  return columns;
}

std::size_t ValueCount(const std::vector<Column>& columns) {
  std::size_t count = 0;
  for (const Column& column : columns) count += static_cast<std::size_t>(column.width);
  return count;
}

ShellRange RangeOf(const MeasureSpec& spec) { return {spec.first_wave_shell, spec.last_wave_shell}; }

CostlyObservables MeasureCostly(const Snapshot& snapshot, const MeasureSpec& spec,
                                const ClusterSummary& spinner_clusters, Scratch& scratch) {
  const double bond_length = spec.bond_length;
  const Positions &spinners = scratch.spinners, &passive = scratch.passive;
  const double side_x = snapshot.side_x, side_y = snapshot.side_y;
  const auto route = StructureFactor::RouteFor(spinners.x.size());
  CostlyObservables out;
  out.waves = scratch.structure.Measure(spinners.x, spinners.y, side_x, side_y, route, RangeOf(spec));
  out.order = MeasureBondOrder(snapshot, scratch.near);
  out.correlation = MeasurePairCorrelation(snapshot, scratch.near);
  scratch.passive.SetTo(snapshot, 0);
  const Domains domains = {
      .spinners = spinner_clusters,
      .passive = Summarize(scratch.clusters.Find(passive.x, passive.y, side_x, side_y, bond_length)),
      .spinner_count = static_cast<double>(spinners.x.size()),
      .passive_count = static_cast<double>(passive.x.size()),
      .area = side_x * side_y,
      .spacing = out.waves.spacing,
      .same_kind_fraction = out.order.same_kind_fraction};
  out.morphology = {MeasureMinkowskiFunctionals(spinners.x, spinners.y, side_x, side_y, bond_length / 2, scratch.near),
                    domains.area, Classify(domains)};
  return out;
}

}  // namespace

Observables::Observables(const RunSpec& spec) : spec_(spec) {
  for (const auto& more : {ClusterColumns(), TransportColumns(), EnergeticsColumns(),
                           WholeColumns(RangeOf(spec.measure)), HealthColumns()}) {
    columns_.insert(columns_.end(), more.begin(), more.end());
  }
}

std::vector<double> Observables::Measure(const Snapshot& snapshot, bool whole) const {
  Scratch& scratch = ScratchOfThread();
  const double bond_length = spec_.measure.bond_length;
  scratch.spinners.SetTo(snapshot, 1);
  Findings found;
  found.clusters = Summarize(
      scratch.clusters.Find(scratch.spinners.x, scratch.spinners.y, snapshot.side_x, snapshot.side_y, bond_length));
  found.transport = MeasureTransport(snapshot);
  found.energetics = MeasureEnergetics(snapshot, spec_, scratch.near);
  if (whole) found.structure = MeasureCostly(snapshot, spec_.measure, found.clusters, scratch);
  found.lost_beads = snapshot.lost_beads;
  found.closest_pair = snapshot.closest_pair;
  found.largest_move = snapshot.largest_move;
  found.friction_residual = snapshot.friction_residual;
  return ValuesOf(found);
}

std::vector<double> ValuesOf(const Findings& found) {
  std::vector<double> values;
  AppendTo(found.clusters, values);
  AppendTo(found.transport, values);
  AppendTo(found.energetics, values);
  if (found.structure) {
    AppendTo(found.structure->waves, values);
    AppendTo(found.structure->correlation, values);
    AppendTo(found.structure->order, values);
    AppendTo(found.structure->morphology, values);
  } else {
    values.resize(values.size() + ValueCount(WholeColumns()), std::numeric_limits<double>::quiet_NaN());
  }
  values.insert(values.end(), {static_cast<double>(found.lost_beads), found.closest_pair, found.largest_move,
                               found.friction_residual});
  return values;
}

}  // namespace gyrebox::kernels
