// Stop, save, load and resume: the same bits.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <random>
#include <stdexcept>
#include <string>

#include "beds.h"
#include "gyrebox/bed_state.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::DynamicsSpec;
using kernels::Parameter;
using kernels::RunSpec;
using kernels::WaveSpec;

// Exercises everything that a state must carry: noise, disorder of every kind, a schedule with ramps.
RunSpec Rich(DynamicsSpec::Equation equation, DriveSpec::Quantity quantity) {
  RunSpec spec = DenseSpec(130);
  spec.dynamics.equation = equation;
  // Drags alone are stiff: the stability limit of a second-order step is half that of Euler's.
  if (equation == DynamicsSpec::Equation::kBrownian) spec.time_step = 1e-4;
  spec.n_steps = 400;
  spec.temperature = 0.01;
  spec.measure.interval_steps = 50;
  spec.drive.quantity = quantity;
  spec.drive.wave = {
      .shape = WaveSpec::Shape::kAm, .amplitude = 25, .frequency = 20, .depth = 0.5, .modulation_frequency = 3};
  spec.drive.disorder = {0.2, 0.1, 0.3, 0.2, 0.25};
  spec.adjustments = {{150, 100, {}, {{Parameter::kAmplitude, 10, true}, {Parameter::kTemperature, 0.02, false}}}};
  return spec;
}

// GYREBOX_CUTS sets the number of cuts. Sanitizers are slow and need only a few.
int Cuts() {
#if defined(__SANITIZE_ADDRESS__)
  return 9;
#else
  const char* cuts = std::getenv("GYREBOX_CUTS");
  return cuts != nullptr ? std::stoi(cuts) : 100;
#endif
}

TEST(SavedState, ResumesWithTheSameBitsFromAnyStep) {
  const auto device = TestDevice(2);
  std::mt19937_64 random(11);
  using Step = DynamicsSpec::Step;
  for (const auto equation :
       {DynamicsSpec::Equation::kLagged, DynamicsSpec::Equation::kConverged, DynamicsSpec::Equation::kBrownian}) {
    for (const auto& [quantity, order] : {std::pair{DriveSpec::Quantity::kRate, Step::kSecondOrder},
                                          {DriveSpec::Quantity::kTorque, Step::kSecondOrder},
                                          {DriveSpec::Quantity::kRate, Step::kFirstOrder}}) {
      RunSpec spec = Rich(equation, quantity);
      spec.dynamics.step = order;
      const auto whole = device->NewEnsemble(std::vector{spec});
      const auto all = whole->Advance(spec.n_steps)[0];
      ASSERT_EQ(all.verdict, kernels::Verdict::kFinished) << (all.fault ? all.fault->message : "");
      for (int cut = 0; cut < (order == Step::kSecondOrder ? Cuts() : Cuts() / 3); ++cut) {
        const std::int64_t step = std::uniform_int_distribution<std::int64_t>(0, spec.n_steps)(random);
        const auto first = device->NewEnsemble(std::vector{spec});
        const auto before = first->Advance(step)[0];
        const auto bytes = kernels::ToBytes(first->Save(0));
        const auto second = device->NewEnsemble(std::vector{spec});
        second->Load(0, kernels::FromBytes(bytes));
        const auto after = second->Advance(spec.n_steps)[0];
        ASSERT_EQ(after.verdict, kernels::Verdict::kFinished);
        ASSERT_NO_FATAL_FAILURE(ExpectSamePositions(second->Beads(0), whole->Beads(0))) << "cut at step " << step;
        // Samples after the cut equal those of the uninterrupted run.
        ASSERT_FALSE(after.samples.empty());
        ASSERT_EQ(after.samples.back().step, all.samples.back().step);
        for (std::size_t c = 0; c < all.samples.back().values.size(); ++c) {
          ASSERT_TRUE(SameBits(after.samples.back().values[c], all.samples.back().values[c])) << c;
        }
      }
    }
  }
}

TEST(SavedState, TruncatedOrChangedBytesAreRefused) {
  const auto device = TestDevice(1);
  const RunSpec spec = Rich(DynamicsSpec::Equation::kLagged, DriveSpec::Quantity::kRate);
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  ensemble->Advance(10);
  const auto bytes = kernels::ToBytes(ensemble->Save(0));
  for (std::size_t length = 0; length < bytes.size(); length += 97) {
    EXPECT_THROW(kernels::FromBytes(std::span(bytes).first(length)), std::runtime_error) << length;
  }
  auto longer = bytes;
  longer.push_back(std::byte{0});
  EXPECT_THROW(kernels::FromBytes(longer), std::runtime_error);
  auto other = bytes;
  other[0] ^= std::byte{1};
  EXPECT_THROW(kernels::FromBytes(other), std::runtime_error);
  // A state of another bed.
  const auto smaller = device->NewEnsemble(std::vector{DenseSpec(64)});
  EXPECT_THROW(smaller->Load(0, kernels::FromBytes(bytes)), std::invalid_argument);
}

// A run may start from the final state of another, to the last bit of every position and angle.
TEST(SavedStart, HasTheBeadsOfTheOtherBed) {
  const auto device = TestDevice(1);
  const RunSpec first = Rich(DynamicsSpec::Equation::kLagged, DriveSpec::Quantity::kRate);
  const auto before = device->NewEnsemble(std::vector{first});
  ASSERT_EQ(before->Advance(first.n_steps)[0].verdict, kernels::Verdict::kFinished);
  const auto saved =
      std::make_shared<const kernels::SavedBed>(kernels::BeadsOf(before->Save(0), first.side_x, first.side_y));
  RunSpec next = first;
  next.adjustments.clear();
  next.drive = {};
  next.drive.wave.amplitude = 3;
  next.seeds.positions = 77;
  next.start = {};
  next.start.arrangement = kernels::StartSpec::Arrangement::kSaved;
  next.start.saved = saved;
  ASSERT_TRUE(kernels::Validate(next).empty());
  const auto after = device->NewEnsemble(std::vector{next});
  const auto ended = before->Beads(0), started = after->Beads(0);
  const auto state = after->Save(0);
  EXPECT_EQ(state.x, saved->x);
  EXPECT_EQ(state.y, saved->y);
  EXPECT_EQ(state.angle, saved->angle);
  int turned = 0;
  for (std::size_t i = 0; i < ended.size(); ++i) {
    ASSERT_TRUE(SameBits(ended[i].x, started[i].x) && SameBits(ended[i].y, started[i].y)) << i;
    ASSERT_TRUE(SameBits(ended[i].angle, started[i].angle)) << i;
    ASSERT_EQ(ended[i].spinner, started[i].spinner) << i;
    turned += started[i].angle > 0;
  }
  EXPECT_GT(turned, 100);
  // It is a run of its own: paths begin where it starts.
  const auto chunk = after->Advance(0)[0];
  const auto sample = after->Advance(1)[0].samples.at(0);
  EXPECT_TRUE(chunk.samples.empty());
  for (std::size_t c = 0, at = 0; c < after->columns(0).size();
       at += static_cast<std::size_t>(after->columns(0)[c++].width)) {
    if (after->columns(0)[c].name == "msd_spinner") {
      EXPECT_EQ(sample.values[at], 0);
    }
  }
  EXPECT_EQ(sample.step, 0);
}

TEST(SavedStart, IsRefusedWhereTheBedIsAnother) {
  RunSpec spec = DenseSpec(100);
  const auto reason = [&] {
    const auto faults = kernels::Validate(spec);
    return faults.size() == 1 && faults[0].field == "start.saved" ? faults[0].reason : std::string("not one fault");
  };
  spec.start.arrangement = kernels::StartSpec::Arrangement::kSaved;
  EXPECT_EQ(reason(), "there is no saved bed to start from");
  const auto initial = kernels::GenerateInitialState(DenseSpec(100));
  kernels::SavedBed saved{spec.side_x, spec.side_y, initial.x, initial.y, initial.angle, initial.spinner};
  const auto with = [&](const kernels::SavedBed& bed) {
    spec.start.saved = std::make_shared<const kernels::SavedBed>(bed);
    return reason();
  };
  EXPECT_EQ(with(saved), "not one fault");
  kernels::SavedBed other = saved;
  other.x.pop_back(), other.y.pop_back(), other.angle.pop_back(), other.spinner.pop_back();
  EXPECT_EQ(with(other), "the saved bed has 99 beads, not 100");
  other = saved;
  other.spinner.assign(100, 0);
  EXPECT_THAT(with(other), testing::StartsWith("the saved bed has 0 spinners, not "));
  other = saved;
  other.side_x *= 1.001;
  EXPECT_THAT(with(other), testing::HasSubstr("take these"));
}

}  // namespace
}  // namespace gyrebox
