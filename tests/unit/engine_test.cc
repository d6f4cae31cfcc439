// Runs through the public interface: what they report, when they stop, and that their bits depend on their spec alone.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <set>

#include "beds.h"
#include "cpu/bed.h"
#include "gyrebox/step_choice.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::Fault;
using kernels::RunSpec;
using kernels::Verdict;
using kernels::WaveSpec;

RunSpec DrivenSpec(std::int64_t n_beads, std::int64_t n_steps, double amplitude = 20) {
  RunSpec spec = DenseSpec(n_beads);
  spec.n_steps = n_steps;
  spec.temperature = 0.002;
  spec.measure.interval_steps = 100;
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, amplitude, 1}, {}};
  return spec;
}

std::unique_ptr<kernels::Device> Cpu(int threads) { return TestDevice(threads); }

TEST(Samples, AreTakenAtTheStartAtEveryIntervalAndAtTheEnd) {
  RunSpec spec = DrivenSpec(64, 250);
  for (const std::int64_t chunk : {1, 99, 100, 250, 1000}) {
    const Outcome outcome = OutcomeOf(spec, chunk);
    EXPECT_EQ(outcome.last.verdict, Verdict::kFinished);
    EXPECT_EQ(outcome.last.step, 250);
    EXPECT_FALSE(outcome.last.fault.has_value());
    ASSERT_EQ(outcome.samples.size(), 4u);
    const std::int64_t steps[] = {0, 100, 200, 250};
    for (int k = 0; k < 4; ++k) {
      EXPECT_EQ(outcome.samples[k].step, steps[k]);
      EXPECT_DOUBLE_EQ(outcome.samples[k].time, static_cast<double>(steps[k]) * spec.time_step);
    }
  }
}

TEST(Samples, AreTakenOnceWhereTheEndFallsOnAnInterval) {
  const Outcome outcome = OutcomeOf(DrivenSpec(64, 200), 70);
  ASSERT_EQ(outcome.samples.size(), 3u);
  EXPECT_EQ(outcome.samples.back().step, 200);
}

TEST(Samples, OfARunOfNoStepsIsOne) {
  const Outcome outcome = OutcomeOf(DrivenSpec(64, 0));
  EXPECT_EQ(outcome.last.verdict, Verdict::kFinished);
  ASSERT_EQ(outcome.samples.size(), 1u);
  EXPECT_EQ(outcome.samples[0].step, 0);
}

TEST(Samples, HaveAValueForEveryColumn) {
  const auto device = Cpu(1);
  const RunSpec spec = DrivenSpec(64, 10);
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  std::size_t width = 0;
  std::set<std::string> names;
  for (const auto& column : ensemble->columns(0)) {
    width += static_cast<std::size_t>(column.width);
    EXPECT_TRUE(names.insert(column.name).second) << column.name;
    EXPECT_FALSE(column.definition.empty()) << column.name;
  }
  const auto chunks = ensemble->Advance(100);
  for (const auto& sample : chunks[0].samples) EXPECT_EQ(sample.values.size(), width);
}

TEST(Beads, KeepTheirKindAndStayInTheDomain) {
  const RunSpec spec = DrivenSpec(300, 3000);
  const Outcome outcome = OutcomeOf(spec);
  const auto start = kernels::GenerateInitialState(spec);
  int spinners = 0;
  for (std::size_t i = 0; i < outcome.beads.size(); ++i) {
    const auto& bead = outcome.beads[i];
    EXPECT_EQ(bead.spinner, start.spinner[i] != 0);
    spinners += bead.spinner;
    EXPECT_TRUE(bead.x >= 0 && bead.x < spec.side_x && bead.y >= 0 && bead.y < spec.side_y);
  }
  EXPECT_EQ(spinners, spec.n_spinners);
}

// Second order reports the rate at the beginning of the step, first order that at its middle.
TEST(Beads, SpinAtTheRateOfTheLastStep) {
  using Step = kernels::DynamicsSpec::Step;
  for (const auto& [step, moment] : {std::pair{Step::kSecondOrder, 329.0}, {Step::kFirstOrder, 329.5}}) {
    RunSpec spec = DrivenSpec(64, 330);
    spec.dynamics.step = step;
    const double rate = 20 * std::sin(2 * std::numbers::pi * moment * spec.time_step);
    for (const auto& bead : OutcomeOf(spec).beads) {
      if (!bead.spinner) continue;
      EXPECT_NEAR(bead.spin, rate, 1e-4);
    }
  }
}

TEST(Bits, DoNotDependOnTheChunks) {
  const RunSpec spec = DrivenSpec(200, 700);
  const Outcome whole = OutcomeOf(spec, 700);
  for (const std::int64_t chunk : {1, 13, 100, 699}) {
    SCOPED_TRACE(chunk);
    ExpectSameBits(whole, OutcomeOf(spec, chunk));
  }
}

std::vector<RunSpec> MixedSpecs() {
  std::vector<RunSpec> specs;
  for (const std::int64_t n : {33, 200, 64, 129, 47})
    specs.push_back(DrivenSpec(n, 100 + 3 * n, static_cast<double>(n % 30)));
  specs[1].temperature = 0;
  specs[2].drive.quantity = DriveSpec::Quantity::kTorque;
  specs[3].n_spinners = 0;
  return specs;
}

TEST(Bits, AreTheSameAloneAndWithinAnEnsemble) {
  const auto device = Cpu(2);
  const auto specs = MixedSpecs();
  const auto together = Outcomes(*device, specs, 57);
  for (std::size_t i = 0; i < specs.size(); ++i) {
    SCOPED_TRACE(i);
    ExpectSameBits(together[i], OutcomeOf(specs[i]));
  }
}

TEST(Bits, AreTheSameForEveryNumberOfThreads) {
  const auto specs = MixedSpecs();
  const auto one = Outcomes(*Cpu(1), specs, 100);
  for (const int threads : {2, 3, 8}) {
    const auto several = Outcomes(*Cpu(threads), specs, 100);
    for (std::size_t i = 0; i < specs.size(); ++i) ExpectSameBits(one[i], several[i]);
  }
}

TEST(Bits, OfABedSharedBetweenThreadsAreTheSameForEveryNumberOfThem) {
  const RunSpec spec = DrivenSpec(kernels::kTiledBeads + 77, 120);
  const Outcome one = OutcomeOf(spec, 120, 1);
  ExpectSameBits(one, OutcomeOf(spec, 120, 2));
  ExpectSameBits(one, OutcomeOf(spec, 7, 3));
}

TEST(Bits, DifferBetweenSeeds) {
  const RunSpec spec = DrivenSpec(64, 50);
  const Outcome one = OutcomeOf(spec);
  RunSpec other = spec;
  other.seeds.noise = 2;
  EXPECT_NE(OutcomeOf(other).beads[0].x, one.beads[0].x);
  other = spec;
  other.seeds.positions = 2;
  EXPECT_NE(OutcomeOf(other).beads[0].x, one.beads[0].x);
}

// Every remainder of the bead count modulo the register width, and every register width of this machine.
TEST(Bits, AreTheSameForEveryInstructionSet) {
  const kernels::StepCodes runnable = kernels::RunnableStepCodes();
  for (std::int64_t n = 31; n <= 48; ++n) {
    for (const double temperature : {0.0, 0.05}) {
      RunSpec spec = DrivenSpec(n, 1000);
      spec.temperature = temperature;
      std::vector<Outcome> outcomes;
      std::vector<std::int64_t> rebuilds;
      for (int c = 0; c < runnable.count; ++c) {
        kernels::Bed bed(spec, *runnable.codes[c]);
        Outcome outcome;
        outcome.last = bed.Advance(1000);
        outcome.samples = outcome.last.samples;
        outcome.beads = bed.Beads();
        outcomes.push_back(outcome);
        rebuilds.push_back(bed.rebuilds().count);
      }
      SCOPED_TRACE(testing::Message() << n << " beads at temperature " << temperature);
      ASSERT_GE(runnable.count, 1);
      for (int c = 1; c < runnable.count; ++c) {
        EXPECT_EQ(rebuilds[0], rebuilds[c]);
        ExpectSameBits(outcomes[0], outcomes[c]);
      }
    }
  }
}

TEST(Unstable, RunStopsAtOnceAndReportsStepBeadAndReason) {
  const RunSpec spec = DrivenSpec(200, 100000, 5000);
  const Outcome outcome = OutcomeOf(spec);
  EXPECT_EQ(outcome.last.verdict, Verdict::kUnstable);
  ASSERT_TRUE(outcome.last.fault.has_value());
  const Fault& fault = *outcome.last.fault;
  EXPECT_TRUE(fault.reason == Fault::Reason::kClosestPair || fault.reason == Fault::Reason::kLargestMove);
  EXPECT_FALSE(fault.message.empty());
  EXPECT_FALSE(fault.beads.empty());
  EXPECT_EQ(fault.position.size(), 2u);
  EXPECT_LT(fault.step, 2000);
  EXPECT_DOUBLE_EQ(fault.time, static_cast<double>(fault.step) * spec.time_step);
  EXPECT_EQ(outcome.last.step, fault.step);
  ASSERT_FALSE(outcome.samples.empty());
  EXPECT_LE(outcome.samples.back().step, fault.step);
}

TEST(Unstable, SeriesHasSoundSamplesOnly) {
  RunSpec spec = DrivenSpec(200, 100000, 300);
  spec.measure.interval_steps = 1;
  const Outcome outcome = OutcomeOf(spec);
  ASSERT_EQ(outcome.last.verdict, Verdict::kUnstable);
  const auto device = Cpu(1);
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  const auto closest = ValueAt(ensemble->columns(0), "closest_pair");
  const auto move = ValueAt(ensemble->columns(0), "largest_move");
  for (const auto& sample : outcome.samples) {
    EXPECT_GE(sample.values[closest], spec.health.closest_pair) << sample.step;
    // The limit, plus the largest thermal kick.
    const double kick = kernels::kLargestKick * std::sqrt(2 * spec.temperature * spec.time_step);
    EXPECT_LE(sample.values[move], spec.health.largest_move + kick) << sample.step;
  }
}

TEST(Unstable, RunTakesNoMoreStepsAndTheOthersContinue) {
  const auto device = Cpu(1);
  const std::vector<RunSpec> specs = {DrivenSpec(200, 100000, 5000), DrivenSpec(64, 3000)};
  const auto ensemble = device->NewEnsemble(specs);
  const auto first = ensemble->Advance(2000);
  ASSERT_EQ(first[0].verdict, Verdict::kUnstable);
  EXPECT_EQ(first[1].verdict, Verdict::kRunning);
  const auto second = ensemble->Advance(2000);
  EXPECT_EQ(second[0].step, first[0].step);
  EXPECT_EQ(second[0].verdict, Verdict::kUnstable);
  EXPECT_TRUE(second[0].samples.empty());
  EXPECT_EQ(second[1].verdict, Verdict::kFinished);
}

TEST(Drop, EndsARun) {
  const auto device = Cpu(1);
  const auto ensemble = device->NewEnsemble(std::vector{DrivenSpec(64, 1000), DrivenSpec(64, 1000)});
  ensemble->Advance(10);
  ensemble->Drop(0);
  const auto chunks = ensemble->Advance(10);
  EXPECT_EQ(chunks[0].verdict, Verdict::kDropped);
  EXPECT_EQ(chunks[0].step, 10);
  EXPECT_EQ(chunks[1].step, 20);
}

TEST(Start, ThatCannotBeReachedFailsThatRunAlone) {
  RunSpec hopeless = DrivenSpec(200, 1000);
  const kernels::Sides sides = kernels::FitSides(hopeless.start.arrangement, 200, 0.9, 1);
  hopeless.side_x = sides.x;
  hopeless.side_y = sides.y;
  hopeless.start.closest_pair = 0.999;
  const auto outcomes = Outcomes(*Cpu(1), {hopeless, DrivenSpec(64, 100)}, 100);
  EXPECT_EQ(outcomes[0].last.verdict, Verdict::kFailed);
  ASSERT_TRUE(outcomes[0].last.fault.has_value());
  EXPECT_EQ(outcomes[0].last.fault->reason, Fault::Reason::kStartNotReached);
  EXPECT_FALSE(outcomes[0].last.fault->message.empty());
  EXPECT_TRUE(outcomes[0].samples.empty());
  EXPECT_EQ(outcomes[1].last.verdict, Verdict::kFinished);
}

TEST(Device, RefusesASpecWithAFault) {
  RunSpec spec = DrivenSpec(64, 10);
  spec.side_x = 2;
  EXPECT_THROW(Cpu(1)->NewEnsemble(std::vector{spec}), std::invalid_argument);
}

TEST(Device, ThatIsMissingComesWithAReason) {
  for (const char* name : {"abacus", "cuda:", "cuda:x", "cuda:99"}) {
    const auto opened = kernels::OpenDevice(name);
    EXPECT_EQ(opened.device, nullptr) << name;
    EXPECT_FALSE(opened.reason.empty()) << name;
  }
}

TEST(Device, FallsBackToTheCpuWithAReason) {
  const auto cuda = kernels::OpenDevice("cuda");
  const auto any = kernels::OpenDevice("auto");
  ASSERT_NE(any.device, nullptr);
  EXPECT_EQ(any.device->name(), cuda.device == nullptr ? "cpu" : "cuda:0");
  EXPECT_FALSE(any.reason.empty());
  if (cuda.device == nullptr) {
    EXPECT_EQ(any.reason, cuda.reason);
  }
}

}  // namespace
}  // namespace gyrebox
