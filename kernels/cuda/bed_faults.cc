#include "cuda/bed.h"
#include "cuda/bed_view.h"

namespace gyrebox::kernels::cuda {

// The device stops a bed before the beads move, so the next half holds the motion of the failed step.
FailedStep DeviceBed::Failed() {
  const BedMemory& memory = plan_.memory;
  const std::size_t now = std::size_t{status_.half} * plan_.stride,
                    next = std::size_t{status_.half ^ 1u} * plan_.stride;
  const std::vector<std::uint32_t> tags = FetchArray(driver_, memory.tag, plan_.n);
  const std::vector<PositionVelocity> beads = FetchArray(driver_, memory.beads + now, plan_.n);
  const std::vector<PositionVelocity> moved = FetchArray(driver_, memory.beads + next, plan_.n);
  driver_.Wait();
  FailedStep failed;
  for (auto* row : {&failed.x, &failed.y}) row->resize(plan_.n);
  for (auto* row : {&failed.vx, &failed.vy}) row->resize(plan_.n);
  for (std::uint32_t slot = 0; slot < plan_.n; ++slot) {
    const std::uint32_t id = IdOf(tags[slot]);
    failed.x[id] = beads[slot].x;
    failed.y[id] = beads[slot].y;
    failed.vx[id] = moved[slot].vx;
    failed.vy[id] = moved[slot].vy;
  }
  return failed;
}

void DeviceBed::DescribeFault() {
  if (status_.stop == Stop::kNotConverged) {
    course_.FailNotConverged(status_.residual);
  } else if (status_.closest_squared < plan_.closest_squared) {
    FailClosestPair(Failed(), course_);
  } else {
    FailLargestMove(Failed(), status_.largest_move_squared, course_);
  }
}

}  // namespace gyrebox::kernels::cuda
