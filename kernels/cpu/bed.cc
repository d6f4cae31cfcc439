#include "cpu/bed.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "model/fixed_point.h"

namespace gyrebox::kernels {
namespace {

// Nearest-image distance of two beads, sigma.
double Distance(const RunSpec& spec, const BeadRecord& a, const BeadRecord& b) {
  return std::hypot(Difference(a.x, b.x, spec.side_x * 0x1p-32), Difference(a.y, b.y, spec.side_y * 0x1p-32));
}

}  // namespace

Bed::Bed(const RunSpec& spec, const StepCode& code) : Bed(spec, code, GenerateInitialState(spec)) {}

Bed::Bed(const RunSpec& spec, const StepCode& code, StartState start)
    : course_(spec),
      beads_(spec, code, start),
      solver_(beads_),
      spinners_(SpinnerIds(start)),
      drive_(spec.seeds.disorder, spinners_),
      drive_values_(spinners_.size()),
      observables_(course_.spec()) {
  drive_.Configure(spec.drive.wave, spec.drive.disorder);
  if (!start.failure.empty()) course_.FailToStart(start.failure);
  start_x_ = std::move(start.x);
  start_y_ = std::move(start.y);
}

RunChunk Bed::Advance(std::int64_t steps, std::int64_t max_sweeps) {
  RunChunk chunk;
  max_sweeps_ = max_sweeps;
  for (std::int64_t taken = 0; course_.running() && (taken < steps || course_.at_end()); ++taken) {
    if (!TakeStep(chunk)) break;
  }
  course_.Close(chunk);
  return chunk;
}

// One step of the run: 2^halvings substeps. False if the chunk ends: the run has ended or rolled back, or a converged
// step continues in the next chunk.
bool Bed::TakeStep(RunChunk& chunk) {
  sweeps_left_ = max_sweeps_;
  if (course_.keep_is_due()) course_.Keep(Save(), chunk);
  if (course_.controls().MoveTo(course_.step())) drive_.Configure(course_.settings().wave, course_.settings().disorder);
  for (const std::int64_t step = course_.step(); course_.step() == step; course_.Pass()) {
    beads_.PrepareLists();
    // At the last step the motion is computed once more for the closing sample, without moving the beads.
    const bool closing = course_.at_end();
    std::vector<BeadRecord> before = closing ? beads_.now() : std::vector<BeadRecord>();
    if (closing && solving_) RestoreSpins(before);
    const std::optional<StepResult> computed = Compute();
    if (!computed) return false;
    const StepResult& result = *computed;
    if (!Sound(result)) {
      if (course_.lagged()) residual_ = LaggedResidual();
      course_.Warning(residual_, course_.time(), chunk);
      Retry(chunk);
      return false;
    }
    if (course_.at_sample()) {
      course_.Hold(TakeSample(result));
      course_.Warning(residual_, course_.time(), chunk);
    }
    if (closing) {
      beads_.now() = before;
      course_.Finish();
      return false;
    }
    const double half_skin = course_.half_skin();
    beads_.Follow(result.health.largest_drift_squared <= half_skin * half_skin);
    drive_.Advance(course_.substep_time());
  }
  if (spec().retry.max_halvings == 0) course_.Release(chunk);
  return true;
}

// Restarts an unfinished step if the adjustment applies to it.
std::int64_t Bed::Adjust(const Adjustment& adjustment) {
  if (solving_ && adjustment.step <= course_.step()) {
    RestoreSpins(beads_.now());
    solving_.reset();
  }
  return course_.Adjust(adjustment);
}

// Handles a fault: rolls back to the kept state and halves the step, or ends the run.
void Bed::Retry(RunChunk& chunk) {
  const BedState* kept = course_.Retry(chunk);
  if (kept == nullptr) return;
  Load(*kept);
  course_.GoOnHalved();
}

std::vector<std::uint32_t> Bed::PartnersWithin(std::uint32_t id, double distance) const {
  std::vector<std::uint32_t> out;
  beads_.ForListed([&](std::uint32_t slot, std::uint32_t other) {
    const BeadRecord &a = beads_.now()[slot], &b = beads_.now()[other];
    if (a.id == id && Distance(spec(), a, b) < distance) out.push_back(b.id);
  });
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace gyrebox::kernels
