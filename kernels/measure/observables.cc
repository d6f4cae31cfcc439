#include "measure/observables.h"

namespace gyrebox::kernels {
namespace {

const std::vector<Column> kHealthColumns = {
    {"closest_pair", "sigma", "Distance of the closest pair of beads within reach of each other.", 1},
    {"largest_move", "sigma", "Largest move of any bead in the step from this moment on.", 1},
    {"friction_residual", "",
     "How far the motion is from balancing all forces: |b - A V| / |b| of the friction system A V = b.", 1},
};

}  // namespace

Observables::Observables(const RunSpec& spec) : spec_(spec), columns_(ClusterColumns()) {
  columns_.insert(columns_.end(), kHealthColumns.begin(), kHealthColumns.end());
}

std::vector<double> Observables::Measure(const Snapshot& snapshot) {
  std::vector<double> values;
  std::vector<std::uint32_t> x, y;
  for (std::size_t i = 0; i < snapshot.x.size(); ++i) {
    if (snapshot.spinner[i] == 0) continue;
    x.push_back(snapshot.x[i]);
    y.push_back(snapshot.y[i]);
  }
  AppendTo(Summarize(clusters_.Find(x, y, snapshot.side_x, snapshot.side_y, spec_.measure.bond_length)), values);
  values.insert(values.end(), {snapshot.closest_pair, snapshot.largest_move, snapshot.friction_residual});
  return values;
}

}  // namespace gyrebox::kernels
