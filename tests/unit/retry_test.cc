// Runs that become unstable, tried again with half the step.
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

// A step four times too long for the drive: half of half of it is enough, and the run reaches its end.
TEST(Retry, GetsPastANumericalFailure) {
  RunSpec spec = TooMuch(40, 4e-3);
  spec.retry.most_halvings = 0;
  ASSERT_EQ(OutcomeOf(spec, 100000).last.verdict, Verdict::kUnstable);
  spec.retry.most_halvings = 4;
  const Outcome outcome = OutcomeOf(spec, 100000);
  ASSERT_EQ(outcome.last.verdict, Verdict::kFinished) << outcome.last.fault->message;
  ASSERT_FALSE(outcome.last.passed.empty());
  for (const Fault& fault : outcome.last.passed) EXPECT_EQ(fault.nature, Fault::Nature::kNumerical);
  // The series has every sample once.
  ASSERT_EQ(outcome.samples.size(), 41u);
  for (std::size_t k = 0; k < outcome.samples.size(); ++k)
    EXPECT_EQ(outcome.samples[k].step, 100 * static_cast<int>(k));
}

TEST(Retry, CallsAFailureThatNoStepGetsPastPhysical) {
  RunSpec spec = TooMuch(3000, 5e-4);
  spec.health.closest_pair = 0.85;
  const Outcome outcome = OutcomeOf(spec, 100000);
  ASSERT_EQ(outcome.last.verdict, Verdict::kUnstable);
  EXPECT_EQ(outcome.last.fault->nature, Fault::Nature::kPhysical);
  EXPECT_EQ(outcome.last.fault->reason, Fault::Reason::kClosestPair);
}

TEST(Retry, DoesNotDependOnHowStepsAreCutIntoChunks) {
  const RunSpec spec = TooMuch(40, 4e-3);
  ExpectSameBits(OutcomeOf(spec, 100000), OutcomeOf(spec, 37));
}

}  // namespace
}  // namespace gyrebox
