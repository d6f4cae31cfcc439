// Schedules and adjustments.
#include "dynamics/controls.h"

#include <gtest/gtest.h>

#include <random>

#include "beds.h"
#include "cpu/bed.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::Adjustment;
using kernels::Controls;
using kernels::DriveSpec;
using kernels::Parameter;
using kernels::RunSpec;
using kernels::WaveSpec;

RunSpec Driven(std::int64_t n_steps) {
  RunSpec spec = DenseSpec(64);
  spec.drive = {DriveSpec::Quantity::kRate, {.shape = WaveSpec::Shape::kSine, .amplitude = 10, .frequency = 1}, {}};
  spec.temperature = 0.002;
  spec.n_steps = n_steps;
  return spec;
}

TEST(Controls, RampEndsExactlyOnItsValueAndStaysThere) {
  RunSpec spec = Driven(1000);
  spec.adjustments = {{100, 300, {}, {{Parameter::kAmplitude, 0.1, true}, {Parameter::kTemperature, 0.3, false}}}};
  Controls controls(spec);
  for (std::int64_t step = 0; step < 1000; ++step) {
    controls.MoveTo(step);
    const double amplitude = controls.settings().wave.amplitude;
    if (step <= 100) {
      EXPECT_EQ(amplitude, 10);
    }
    if (step == 250) {
      EXPECT_NEAR(amplitude, 5.05, 1e-12);
    }
    if (step >= 400) {
      EXPECT_EQ(amplitude, 0.1);
    }
    EXPECT_EQ(controls.settings().temperature, step < 100 ? 0.002 : 0.3);
  }
}

TEST(Controls, TheNewestChangeOfAParameterHolds) {
  RunSpec spec = Driven(1000);
  spec.adjustments = {{100, 300, {}, {{Parameter::kAmplitude, 40, true}}},
                      {200, 0, {}, {{Parameter::kAmplitude, 7, false}}}};
  Controls controls(spec);
  controls.MoveTo(150);
  EXPECT_NEAR(controls.settings().wave.amplitude, 15, 1e-12);
  controls.MoveTo(200);
  EXPECT_EQ(controls.settings().wave.amplitude, 7);
  controls.MoveTo(400);
  EXPECT_EQ(controls.settings().wave.amplitude, 7);
}

// A schedule of consecutive stages: at every step exactly one stage is active, and it is the right one. Each stage sets
// the amplitude to its own index and ramps the frequency to it.
TEST(Controls, RandomSchedulesHaveNeitherGapNorOverlap) {
  std::mt19937_64 random(7);
  for (int trial = 0; trial < 1000; ++trial) {
    RunSpec spec = Driven(0);
    std::vector<std::int64_t> begins, ends;
    const int n_stages = std::uniform_int_distribution<int>(1, 12)(random);
    for (int stage = 1; stage <= n_stages; ++stage) {
      const std::int64_t length = std::uniform_int_distribution<std::int64_t>(1, 40)(random);
      begins.push_back(spec.n_steps);
      spec.adjustments.push_back(
          {spec.n_steps,
           length,
           {},
           {{Parameter::kAmplitude, 1.0 * stage, false}, {Parameter::kFrequency, 1.0 * stage, true}}});
      spec.n_steps += length;
      ends.push_back(spec.n_steps);
    }
    Controls controls(spec);
    std::size_t stage = 0;
    for (std::int64_t step = 0; step <= spec.n_steps; ++step) {
      controls.MoveTo(step);
      if (step == ends[stage] && stage + 1 < ends.size()) ++stage;
      const double from = stage == 0 ? 1.0 : static_cast<double>(stage);  // the frequency before the first stage is 1
      const double fraction =
          static_cast<double>(step - begins[stage]) / static_cast<double>(ends[stage] - begins[stage]);
      ASSERT_EQ(controls.settings().wave.amplitude, static_cast<double>(stage + 1));
      ASSERT_NEAR(controls.settings().wave.frequency, from + (static_cast<double>(stage + 1) - from) * fraction, 1e-12);
      // The state of the schedule does not depend on the step of entry.
      if (step % 17 == 0) {
        Controls entered(spec);
        entered.GoTo(step);
        ASSERT_EQ(entered.settings().wave.amplitude, controls.settings().wave.amplitude);
        ASSERT_EQ(entered.settings().wave.frequency, controls.settings().wave.frequency);
      }
    }
  }
}

TEST(Adjustment, OfALiveRunIsRecordedWithItsStepAndReplaysToTheSameBits) {
  RunSpec spec = Driven(1200);
  const auto device = TestDevice(1);
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  ensemble->Advance(333);
  // Immediately: at the chunk boundary.
  EXPECT_EQ(ensemble->Adjust(0, {0, 0, {}, {{Parameter::kAmplitude, 25, false}}}), 333);
  // Later: at a given step, with a ramp.
  EXPECT_EQ(
      ensemble->Adjust(0, {700, 200, {}, {{Parameter::kFrequency, 3, true}, {Parameter::kTemperature, 0.01, true}}}),
      700);
  ensemble->Advance(1);
  WaveSpec triangle{.shape = WaveSpec::Shape::kTriangle, .amplitude = 15, .frequency = 2};
  EXPECT_EQ(ensemble->Adjust(0, {0, 0, {triangle}, {}}), 334);
  ensemble->Advance(5000);
  spec.adjustments = ensemble->adjustments(0);
  ASSERT_EQ(spec.adjustments.size(), 3u);
  EXPECT_EQ(spec.adjustments[0].step, 333);
  EXPECT_EQ(spec.adjustments[1].step, 334);
  EXPECT_EQ(spec.adjustments[2].step, 700);
  ExpectSamePositions(OutcomeOf(spec, 7).beads, ensemble->Beads(0));
}

}  // namespace
}  // namespace gyrebox
