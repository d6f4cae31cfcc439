// Unstable runs, retried with half the step.
#include <gtest/gtest.h>

#include "beds.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::Fault;
using kernels::RunSpec;
using kernels::Verdict;
using kernels::WaveSpec;

RunSpec TooMuch(double amplitude, double time_step) {
  RunSpec spec = DenseSpec(200);
  spec.drive = {
      DriveSpec::Quantity::kRate, {.shape = WaveSpec::Shape::kSine, .amplitude = amplitude, .frequency = 1}, {}};
  spec.time_step = time_step;
  spec.n_steps = 4000;
  spec.temperature = 0.002;
  spec.measure.interval_steps = 100;
  spec.retry = {4, 200};
  return spec;
}

// A step four times too long for the drive: after two halvings the run finishes.
TEST(Retry, RecoversFromANumericalFailure) {
  RunSpec spec = TooMuch(40, 4e-3);
  spec.retry.max_halvings = 0;
  ASSERT_EQ(OutcomeOf(spec, 100000).last.verdict, Verdict::kUnstable);
  spec.retry.max_halvings = 4;
  const Outcome outcome = OutcomeOf(spec, 100000);
  ASSERT_EQ(outcome.last.verdict, Verdict::kFinished) << outcome.last.fault->message;
  ASSERT_FALSE(outcome.last.passed.empty());
  for (const Fault& fault : outcome.last.passed) EXPECT_EQ(fault.cause, Fault::Cause::kNumerical);
  // The series has every sample once.
  ASSERT_EQ(outcome.samples.size(), 41u);
  for (std::size_t k = 0; k < outcome.samples.size(); ++k)
    EXPECT_EQ(outcome.samples[k].step, 100 * static_cast<int>(k));
}

TEST(Retry, CallsAFailureAtEveryStepPhysical) {
  RunSpec spec = TooMuch(3000, 5e-4);
  spec.health.closest_pair = 0.85;
  const Outcome outcome = OutcomeOf(spec, 100000);
  ASSERT_EQ(outcome.last.verdict, Verdict::kUnstable);
  EXPECT_EQ(outcome.last.fault->cause, Fault::Cause::kPhysical);
  EXPECT_EQ(outcome.last.fault->reason, Fault::Reason::kClosestPair);
}

TEST(Retry, DoesNotDependOnChunks) {
  const RunSpec spec = TooMuch(40, 4e-3);
  ExpectSameBits(OutcomeOf(spec, 100000), OutcomeOf(spec, 37));
}

// Interrupts the run repeatedly after a chunk and resumes from the last checkpoint on a new ensemble.
Outcome BrokenOff(const RunSpec& spec, std::int64_t chunk, int chunks_between, std::size_t* faults) {
  const auto device = TestDevice(1);
  Outcome out;
  kernels::BedState checkpoint;
  for (bool first = true;; first = false) {
    const auto ensemble = device->NewEnsemble(std::vector{spec});
    if (!first) ensemble->Load(0, checkpoint);
    for (int k = 0; k < chunks_between; ++k) {
      out.last = ensemble->Advance(chunk)[0];
      *faults += out.last.passed.size();
      out.samples.insert(out.samples.end(), out.last.samples.begin(), out.last.samples.end());
      if (out.last.verdict == Verdict::kRunning) continue;
      out.beads = ensemble->Beads(0);
      return out;
    }
    const kernels::BedState next = kernels::FromBytes(kernels::ToBytes(ensemble->Checkpoint(0)));
    if (!first && next.step == checkpoint.step) ++chunks_between;  // guarantees progress
    checkpoint = next;
    for (const auto& sample : out.samples) EXPECT_LT(sample.step, checkpoint.step);
  }
}

// A retry after the interruption rolls back to the same state as without it.
TEST(Retry, DoesNotDependOnInterruptions) {
  for (const double amplitude : {40.0, 3000.0}) {
    RunSpec spec = TooMuch(amplitude, 4e-3);
    const Outcome whole = OutcomeOf(spec, 100000);
    ASSERT_EQ(whole.last.verdict, amplitude == 40 ? Verdict::kFinished : Verdict::kUnstable);
    for (const int chunk : {7, 90, 333}) {
      std::size_t faults = 0;
      const Outcome broken = BrokenOff(spec, chunk, 1, &faults);
      ASSERT_NO_FATAL_FAILURE(ExpectSameBits(whole, broken)) << amplitude << ", chunk " << chunk;
      EXPECT_EQ(broken.last.verdict, whole.last.verdict);
      ASSERT_EQ(broken.last.fault.has_value(), whole.last.fault.has_value());
      if (whole.last.fault) {
        EXPECT_EQ(broken.last.fault->message, whole.last.fault->message);
        EXPECT_EQ(broken.last.fault->cause, whole.last.fault->cause);
      }
      EXPECT_GT(faults, 0u);
    }
  }
}

// The end of a run may be moved while it runs; the result equals a run of the new length from the start.
TEST(EndAt, MakesARunShorterOrLonger) {
  for (const std::int64_t n_steps : {137, 200, 463}) {
    for (const int halvings : {0, 2}) {
      RunSpec spec = TooMuch(10, 5e-4);
      spec.retry.max_halvings = halvings;
      spec.n_steps = n_steps;
      const Outcome planned = OutcomeOf(spec, 1000);
      spec.n_steps = 300;
      const auto device = TestDevice(1);
      const auto ensemble = device->NewEnsemble(std::vector{spec});
      Outcome moved;
      for (int k = 0; k < 2 || moved.last.verdict == Verdict::kRunning; ++k) {
        moved.last = ensemble->Advance(k == 0 ? 137 : 50)[0];
        moved.samples.insert(moved.samples.end(), moved.last.samples.begin(), moved.last.samples.end());
        if (k == 0) ensemble->EndAt(0, n_steps);
      }
      moved.beads = ensemble->Beads(0);
      EXPECT_EQ(moved.last.step, n_steps);
      ASSERT_NO_FATAL_FAILURE(ExpectSameBits(planned, moved)) << n_steps << ", " << halvings;
    }
  }
}

}  // namespace
}  // namespace gyrebox
