#include "gyrebox/still_measure.h"

#include <algorithm>
#include <string>

#include "dynamics/controls.h"
#include "measure/observables.h"

namespace gyrebox::kernels {
namespace {

// Columns that need more than positions: paths, motion, or the health of a step.
constexpr const char* kOfMotion[] = {"msd_spinner", "msd_passive",  "passive_spin", "drive_power",
                                     "lost_beads",  "closest_pair", "largest_move", "friction_residual"};

bool IsOfMotion(const Column& column) {
  return std::any_of(std::begin(kOfMotion), std::end(kOfMotion), [&](const char* name) { return column.name == name; });
}

}  // namespace

struct StillMeasure::Inside {
  explicit Inside(const RunSpec& run) : spec(run), observables(run) {
    for (const Column& column : observables.columns()) {
      const bool takes = !IsOfMotion(column);
      if (takes) columns.push_back(column);
      taken.insert(taken.end(), static_cast<std::size_t>(column.width), takes);
    }
  }

  const RunSpec spec;
  const Observables observables;
  std::vector<Column> columns;
  std::vector<bool> taken;  // whether each value is among the columns
};

StillMeasure::StillMeasure(const RunSpec& spec) : inside_(std::make_unique<Inside>(spec)) {}
StillMeasure::~StillMeasure() = default;

const std::vector<Column>& StillMeasure::columns() const { return inside_->columns; }

Sample StillMeasure::Measure(const SavedBed& beads, std::int64_t step) const {
  const std::size_t n = beads.x.size();
  Controls controls(inside_->spec);
  controls.GoTo(step);
  Snapshot snapshot;
  snapshot.side_x = beads.side_x;
  snapshot.side_y = beads.side_y;
  snapshot.time = static_cast<double>(step) * inside_->spec.time_step;
  snapshot.x = beads.x;
  snapshot.y = beads.y;
  snapshot.spinner = beads.spinner;
  snapshot.path_x.resize(n), snapshot.path_y.resize(n);
  snapshot.vx.resize(n), snapshot.vy.resize(n), snapshot.spin.resize(n);
  snapshot.temperature = controls.settings().temperature;
  snapshot.friction = controls.settings().friction;
  const std::vector<double> all = inside_->observables.Measure(snapshot, /*whole=*/true);
  Sample sample{step, snapshot.time, {}};
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (inside_->taken[i]) sample.values.push_back(all[i]);
  }
  return sample;
}

}  // namespace gyrebox::kernels
