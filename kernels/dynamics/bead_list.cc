#include "dynamics/bead_list.h"

#include "model/fixed_point.h"

namespace gyrebox::kernels {

std::vector<Bead> BeadsIn(const BedState& state, double side_x, double side_y) {
  std::vector<Bead> beads(state.x.size());
  const bool parted = !state.thermal_vx.empty();
  for (std::size_t id = 0; id < beads.size(); ++id) {
    Bead& bead = beads[id];
    bead.x = FromFixed(state.x[id], side_x);
    bead.y = FromFixed(state.y[id], side_y);
    const std::int64_t path_x = state.path_x[id] + AsSigned(state.x[id] - state.built_x[id]);
    const std::int64_t path_y = state.path_y[id] + AsSigned(state.y[id] - state.built_y[id]);
    bead.unwrapped_x = static_cast<double>(path_x) * side_x * 0x1p-32;
    bead.unwrapped_y = static_cast<double>(path_y) * side_y * 0x1p-32;
    bead.vx = parted ? state.vx[id] + state.thermal_vx[id] : state.vx[id];
    bead.vy = parted ? state.vy[id] + state.thermal_vy[id] : state.vy[id];
    bead.spin = parted ? state.spin[id] + state.thermal_spin[id] : state.spin[id];
    bead.angle = AngleValue(state.angle[id]);
    bead.spinner = state.kind[id] != 0;
  }
  return beads;
}

}  // namespace gyrebox::kernels
