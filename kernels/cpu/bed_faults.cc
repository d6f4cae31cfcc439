#include "cpu/bed.h"

namespace gyrebox::kernels {
namespace {

double Squared(double a) { return a * a; }

}  // namespace

// Checks a step before the beads move; sets the fault if it fails.
bool Bed::Sound(const StepResult& result) {
  const HealthSpec& limits = spec().health;
  if (result.health.closest_squared < limits.closest_pair * limits.closest_pair) {
    FailClosestPair(Failed(), course_);
  } else if (!(result.health.largest_move_squared <= Squared(course_.largest_move()))) {
    FailLargestMove(Failed(), result.health.largest_move_squared, course_);
  } else if (course_.converged() && !result.solver.converged) {
    course_.FailNotConverged(result.solver.relative_residual);
  }
  return !course_.fault();
}

FailedStep Bed::Failed() const {
  FailedStep failed;
  for (std::int64_t id = 0; id < beads_.n_beads(); ++id) {
    const BeadRecord& bead = beads_.bead(id);
    const Motion<float> next = beads_.ComingMotion(beads_.slot_of(id));
    failed.x.push_back(bead.x);
    failed.y.push_back(bead.y);
    failed.vx.push_back(next.vx);
    failed.vy.push_back(next.vy);
  }
  return failed;
}

}  // namespace gyrebox::kernels
