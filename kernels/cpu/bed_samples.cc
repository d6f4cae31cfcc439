#include <cmath>
#include <limits>
#include <numeric>

#include "cpu/bed.h"
#include "measure/blocks.h"

namespace gyrebox::kernels {

Sample Bed::TakeSample(const StepResult& result) {
  Snapshot& snapshot = snapshot_;
  TakeSnapshot(snapshot);
  const bool alone = result.health.closest_squared > 1e29f;
  snapshot.closest_pair =
      alone ? std::numeric_limits<double>::quiet_NaN() : std::sqrt(static_cast<double>(result.health.closest_squared));
  snapshot.largest_move = std::sqrt(static_cast<double>(result.health.largest_move_squared));
  residual_ = course_.converged() ? result.solver.relative_residual : (course_.brownian() ? 0 : LaggedResidual());
  snapshot.friction_residual = residual_;
  return {course_.step(), course_.time(), observables_.Measure(snapshot, course_.at_whole_sample())};
}

double Bed::LaggedResidual() {
  // Current positions with the motion of the step just computed.
  std::vector<BeadRecord>& judged = other_motion_;
  judged.resize(beads_.now().size());
  beads_.ForGroups([&](std::int64_t first, std::int64_t last) {
    for (std::int64_t slot = first * beads_.code().width; slot < last * beads_.code().width; ++slot) {
      judged[slot] = beads_.now()[slot];
      if (slot >= beads_.n_beads()) continue;
      const Motion<float> motion = beads_.ComingMotion(slot);
      judged[slot].vx = motion.vx;
      judged[slot].vy = motion.vy;
      judged[slot].spin = motion.spin;
    }
  });
  const StepInput input = Laws();
  solver_.DrawNoise(input);
  return solver_.Residual(input, judged, CarriesSweeps(spec()));
}

void Bed::TakeSnapshot(Snapshot& out) const {
  const auto n = static_cast<std::size_t>(beads_.n_beads());
  out.side_x = spec().side_x;
  out.side_y = spec().side_y;
  out.time = course_.time();
  out.temperature = course_.settings().temperature;
  out.friction = course_.settings().friction;
  out.x.resize(n), out.y.resize(n), out.path_x.resize(n), out.path_y.resize(n);
  out.vx.resize(n), out.vy.resize(n), out.spin.resize(n), out.spinner.resize(n);
  if (!course_.rate_imposed()) out.torque.resize(n);
  const auto lost = SumsOfBlocks(static_cast<std::uint32_t>(n), [&](std::uint32_t first, std::uint32_t last) {
    std::int64_t lost_beads = 0;
    for (std::uint32_t id = first; id < last; ++id) {
      const BeadRecord& position = beads_.bead(id);
      const Motion<float> motion = beads_.ComingMotion(beads_.slot_of(id));
      out.x[id] = position.x;
      out.y[id] = position.y;
      out.path_x[id] = beads_.PathX(id) - start_x_[id];
      out.path_y[id] = beads_.PathY(id) - start_y_[id];
      out.vx[id] = motion.vx;
      out.vy[id] = motion.vy;
      out.spin[id] = motion.spin;
      out.spinner[id] = static_cast<std::uint8_t>(position.kind);
      if (position.id != id) ++lost_beads;
      if (!course_.rate_imposed()) out.torque[id] = TorqueOn(id);
    }
    return lost_beads;
  });
  out.lost_beads = std::accumulate(lost.begin(), lost.end(), std::int64_t{0});
}

// Imposed in the step just computed.
float Bed::TorqueOn(std::int64_t bead) const {
  const std::uint32_t slot = beads_.slot_of(bead);
  if (beads_.now()[slot].kind != kSpinner) return 0;
  if (course_.brownian()) return beads_.ComingMotion(slot).spin * static_cast<float>(spec().drag.rotational);
  return torques_.empty() ? common_torque_ : torques_[slot];
}

}  // namespace gyrebox::kernels
