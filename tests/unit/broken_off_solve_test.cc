// A converged step that is interrupted between two sweeps and resumed later.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstring>
#include <tuple>
#include <vector>

#include "beds.h"
#include "cpu/bed.h"
#include "gyrebox/bed_state.h"

namespace gyrebox::kernels {
namespace {

RunSpec StiffSpec(DriveSpec::Quantity quantity, double temperature) {
  RunSpec spec = DenseSpec(200);
  spec.dynamics.equation = DynamicsSpec::Equation::kConverged;
  spec.dynamics.tolerance = 1e-5;
  spec.dynamics.max_iterations = 2000;
  spec.friction.tangential = spec.friction.normal = 50;
  spec.drive.quantity = quantity;
  spec.drive.wave.amplitude = 5;
  spec.temperature = temperature;
  spec.time_step = 1e-4;
  spec.n_steps = 20;
  spec.measure.interval_steps = 4;
  return spec;
}

/// Takes steps with a few sweeps at a time. @return number of chunks that ended within a step.
int TakeStepsInPieces(Bed& bed, std::int64_t steps, std::int64_t sweeps, std::vector<Sample>* samples) {
  int broken_off = 0;
  for (std::int64_t before = 0, end = -1;;) {
    const RunChunk chunk = bed.Advance(1, sweeps);
    samples->insert(samples->end(), chunk.samples.begin(), chunk.samples.end());
    if (chunk.verdict != Verdict::kRunning) return broken_off;
    if (end < 0) end = steps;
    if (chunk.step == before) ++broken_off;
    before = chunk.step;
    if (chunk.step >= end) return broken_off;
  }
}

void ExpectSameSamples(const std::vector<Sample>& a, const std::vector<Sample>& b) {
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t k = 0; k < a.size(); ++k) {
    EXPECT_EQ(a[k].step, b[k].step);
    for (std::size_t c = 0; c < a[k].values.size(); ++c) {
      EXPECT_EQ(std::memcmp(&a[k].values[c], &b[k].values[c], sizeof(double)), 0) << k << ", value " << c;
    }
  }
}

class BrokenOffSolve : public testing::TestWithParam<std::tuple<DriveSpec::Quantity, double>> {
 protected:
  const RunSpec spec_ = StiffSpec(std::get<0>(GetParam()), std::get<1>(GetParam()));
};

TEST_P(BrokenOffSolve, GivesTheBitsOfAnUninterruptedSolve) {
  Bed whole(spec_, BestStepCode()), pieces(spec_, BestStepCode());
  const RunChunk chunk = whole.Advance(spec_.n_steps);
  ASSERT_EQ(chunk.verdict, Verdict::kFinished);
  std::vector<Sample> samples;
  EXPECT_GT(TakeStepsInPieces(pieces, spec_.n_steps + 1, 3, &samples), 20);
  EXPECT_EQ(ToBytes(pieces.Save()), ToBytes(whole.Save()));
  ExpectSameSamples(samples, chunk.samples);
}

TEST_P(BrokenOffSolve, IsSavedAsTheStepBegan) {
  Bed whole(spec_, BestStepCode()), pieces(spec_, BestStepCode());
  std::vector<Sample> samples;
  TakeStepsInPieces(pieces, 3, 3, &samples);
  ASSERT_EQ(pieces.Advance(1, 3).step, 3);  // within the fourth step
  Bed later(spec_, BestStepCode());
  later.Load(pieces.Save());
  later.Advance(spec_.n_steps);
  whole.Advance(spec_.n_steps);
  EXPECT_EQ(ToBytes(later.Save()), ToBytes(whole.Save()));
}

TEST_P(BrokenOffSolve, RestartsForAChangeAtItsStep) {
  Adjustment change;
  change.step = 3;
  change.changes = {{.parameter = Parameter::kAmplitude, .value = 9}};
  RunSpec changed = spec_;
  changed.adjustments = {change};
  Bed whole(changed, BestStepCode()), pieces(spec_, BestStepCode());
  std::vector<Sample> samples;
  TakeStepsInPieces(pieces, 3, 3, &samples);
  ASSERT_EQ(pieces.Advance(1, 3).step, 3);
  EXPECT_EQ(pieces.Adjust(change), 3);
  TakeStepsInPieces(pieces, spec_.n_steps + 1, 3, &samples);
  whole.Advance(spec_.n_steps);
  EXPECT_EQ(ToBytes(pieces.Save()), ToBytes(whole.Save()));
}

TEST_P(BrokenOffSolve, MayBecomeTheLastStep) {
  RunSpec shorter = spec_;
  shorter.n_steps = 3;
  Bed whole(shorter, BestStepCode()), pieces(spec_, BestStepCode());
  std::vector<Sample> samples;
  TakeStepsInPieces(pieces, 3, 3, &samples);
  ASSERT_EQ(pieces.Advance(1, 3).step, 3);
  pieces.EndAt(3);
  TakeStepsInPieces(pieces, spec_.n_steps + 1, 3, &samples);
  const RunChunk chunk = whole.Advance(3);
  ASSERT_EQ(chunk.verdict, Verdict::kFinished);
  EXPECT_EQ(ToBytes(pieces.Save()), ToBytes(whole.Save()));
  ExpectSameSamples(samples, chunk.samples);
}

INSTANTIATE_TEST_SUITE_P(All, BrokenOffSolve,
                         testing::Combine(testing::Values(DriveSpec::Quantity::kRate, DriveSpec::Quantity::kTorque),
                                          testing::Values(0.0, 0.01)));

}  // namespace
}  // namespace gyrebox::kernels
