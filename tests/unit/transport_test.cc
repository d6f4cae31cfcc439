#include "measure/transport.h"

#include <gtest/gtest.h>

#include "beds.h"
#include "runs.h"
#include "snapshots.h"

namespace gyrebox::kernels {
namespace {

// A bed of 3 spinners and 5 passive beads.
Snapshot SmallBed() {
  std::mt19937 random(1);
  Snapshot bed = RandomSnapshot(8, 16, 8, 0, random);
  std::fill_n(bed.spinner.begin(), 3, std::uint8_t{1});
  return bed;
}

TEST(Displacement, OfBeadsThatAllMoveAlikeIsNone) {
  Snapshot bed = SmallBed();
  for (auto& path : bed.path_x) path = std::int64_t{5} << 32;
  for (auto& path : bed.path_y) path = -(std::int64_t{3} << 30);
  const Transport transport = MeasureTransport(bed);
  EXPECT_EQ(transport.msd_spinner, 0);
  EXPECT_EQ(transport.msd_passive, 0);
}

// Exact: if spinners move three sides along x and passive beads stay, spinners are 5/8 of that ahead of the common
// centre, and passive beads 3/8 behind it.
TEST(Displacement, IsRelativeToTheCentreOfAllBeads) {
  Snapshot bed = SmallBed();
  for (int i = 0; i < 3; ++i) bed.path_x[static_cast<std::size_t>(i)] = std::int64_t{3} << 32;
  const Transport transport = MeasureTransport(bed);
  EXPECT_DOUBLE_EQ(transport.msd_spinner, std::pow(48 * 5.0 / 8, 2));
  EXPECT_DOUBLE_EQ(transport.msd_passive, std::pow(48 * 3.0 / 8, 2));
}

TEST(Displacement, AddsTheSquaresOfBothAxes) {
  Snapshot bed = SmallBed();
  bed.path_x[3] = std::int64_t{1} << 32, bed.path_x[4] = -(std::int64_t{1} << 32);  // 16 sigma
  bed.path_y[5] = std::int64_t{1} << 31, bed.path_y[6] = -(std::int64_t{1} << 31);  // 4 sigma
  EXPECT_DOUBLE_EQ(MeasureTransport(bed).msd_passive, (2 * 256 + 2 * 16) / 5.0);
}

TEST(PassiveSpin, IsTheMeanOverPassiveBeads) {
  Snapshot bed = SmallBed();
  bed.spin = {9, 9, 9, 1, 2, 3, 4, -5};
  EXPECT_DOUBLE_EQ(MeasureTransport(bed).passive_spin, 1);
}

TEST(Transport, OfAMissingKindIsNotANumber) {
  std::mt19937 random(2);
  const Transport none = MeasureTransport(RandomSnapshot(5, 8, 8, 0, random));
  EXPECT_TRUE(std::isnan(none.msd_spinner));
  EXPECT_EQ(none.msd_passive, 0);
  const Transport all = MeasureTransport(RandomSnapshot(5, 8, 8, 1, random));
  EXPECT_TRUE(std::isnan(all.msd_passive) && std::isnan(all.passive_spin));
}

TEST(Displacement, OfARunIsThatOfItsUnwrappedPaths) {
  RunSpec spec = DenseSpec(200);
  spec.drive.wave.amplitude = 20;
  spec.temperature = 0.1;
  spec.n_steps = 4000;
  const auto device = TestDevice(1);
  const auto ensemble = device->NewEnsemble(std::vector<RunSpec>{spec});
  const auto before = ensemble->Beads(0);
  const auto chunk = ensemble->Advance(spec.n_steps + 1)[0];
  ASSERT_EQ(chunk.verdict, Verdict::kFinished);
  const auto after = ensemble->Beads(0);
  Snapshot bed = EmptySnapshot(spec.side_x, spec.side_y);
  for (std::size_t i = 0; i < after.size(); ++i) {
    AddBead(bed, after[i].x, after[i].y, after[i].spinner);
    bed.path_x[i] = std::llround((after[i].unwrapped_x - before[i].unwrapped_x) / spec.side_x * 0x1p32);
    bed.path_y[i] = std::llround((after[i].unwrapped_y - before[i].unwrapped_y) / spec.side_y * 0x1p32);
  }
  const Transport truth = MeasureTransport(bed);
  const auto& values = chunk.samples.back().values;
  const auto& columns = ensemble->columns(0);
  EXPECT_GT(truth.msd_spinner, 0.1);
  EXPECT_NEAR(values[ValueAt(columns, "msd_spinner")], truth.msd_spinner, 1e-6);
  EXPECT_NEAR(values[ValueAt(columns, "msd_passive")], truth.msd_passive, 1e-6);
  EXPECT_EQ(chunk.samples.front().values[ValueAt(columns, "msd_spinner")], 0);
}

}  // namespace
}  // namespace gyrebox::kernels
