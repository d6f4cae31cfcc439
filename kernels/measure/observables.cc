#include "measure/observables.h"

#include <algorithm>
#include <limits>

#include "measure/bond_order.h"
#include "measure/clusters.h"
#include "measure/energetics.h"
#include "measure/morphology.h"
#include "measure/near_beads.h"
#include "measure/pair_correlation.h"
#include "measure/structure.h"
#include "measure/transport.h"

namespace gyrebox::kernels {
namespace {

struct Places {
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

// Memory to work in. Each thread has one: there are far more beds than threads.
struct Scratch {
  Places spinners, passive;
  ClusterFinder clusters;
  NearBeads near;
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
       "How far the motion is from balancing all forces: |b - A V| / |b| of the friction system A V = b.", 1},
  };
}

std::vector<Column> WholeColumns() {
  std::vector<Column> columns = StructureColumns();
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

// Values of WholeColumns().
void AppendWhole(const Snapshot& snapshot, double bond_length, const ClusterSummary& spinner_clusters, Scratch& scratch,
                 std::vector<double>& values) {
  const Places &spinners = scratch.spinners, &passive = scratch.passive;
  const double side_x = snapshot.side_x, side_y = snapshot.side_y;
  const auto route = StructureFactor::RouteFor(spinners.x.size());
  const StructureSummary structure = scratch.structure.Measure(spinners.x, spinners.y, side_x, side_y, route);
  const BondOrder order = MeasureBondOrder(snapshot, scratch.near);
  scratch.passive.SetTo(snapshot, 0);
  const Domains domains = {
      .spinners = spinner_clusters,
      .passive = Summarize(scratch.clusters.Find(passive.x, passive.y, side_x, side_y, bond_length)),
      .spinner_count = static_cast<double>(spinners.x.size()),
      .passive_count = static_cast<double>(passive.x.size()),
      .area = side_x * side_y,
      .spacing = structure.spacing,
      .like_share = order.like_share};
  AppendTo(structure, values);
  AppendTo(MeasurePairCorrelation(snapshot, scratch.near), values);
  AppendTo(order, values);
  AppendTo(Morphology{MeasureCoveredShape(spinners.x, spinners.y, side_x, side_y, bond_length / 2, scratch.near),
                      domains.area, Classify(domains)},
           values);
}

}  // namespace

Observables::Observables(const RunSpec& spec) : spec_(spec) {
  for (const auto& more :
       {ClusterColumns(), TransportColumns(), EnergeticsColumns(), WholeColumns(), HealthColumns()}) {
    columns_.insert(columns_.end(), more.begin(), more.end());
  }
}

std::vector<double> Observables::Measure(const Snapshot& snapshot, bool whole) const {
  Scratch& scratch = ScratchOfThread();
  const double bond_length = spec_.measure.bond_length;
  scratch.spinners.SetTo(snapshot, 1);
  const ClusterSummary clusters = Summarize(
      scratch.clusters.Find(scratch.spinners.x, scratch.spinners.y, snapshot.side_x, snapshot.side_y, bond_length));
  std::vector<double> values;
  AppendTo(clusters, values);
  AppendTo(MeasureTransport(snapshot), values);
  AppendTo(MeasureEnergetics(snapshot, spec_, scratch.near), values);
  if (whole) {
    AppendWhole(snapshot, bond_length, clusters, scratch, values);
  } else {
    values.resize(values.size() + ValueCount(WholeColumns()), std::numeric_limits<double>::quiet_NaN());
  }
  values.insert(values.end(), {static_cast<double>(snapshot.lost_beads), snapshot.closest_pair, snapshot.largest_move,
                               snapshot.friction_residual});
  return values;
}

}  // namespace gyrebox::kernels
