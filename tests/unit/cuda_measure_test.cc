#include <gtest/gtest.h>

#include "cuda/measure.h"
#include "device_bed.h"
#include "measure/observables.h"

namespace gyrebox::kernels {
namespace {

using cuda::MeasuredSums;

RunSpec SpecOf(const Snapshot& bed) {
  RunSpec spec;
  spec.n_beads = static_cast<std::int64_t>(bed.x.size());
  spec.n_spinners = std::count(bed.spinner.begin(), bed.spinner.end(), 1);
  spec.side_x = bed.side_x;
  spec.side_y = bed.side_y;
  return spec;
}

bool IsInteger(const Column& column) {
  return column.unit == "beads" ? column.name == "spinner_largest_size"
                                : column.name.ends_with("_count") || column.name.ends_with("histogram") ||
                                      column.name == "morphology_class" || column.name == "lost_beads";
}

// The spectral power is summed in single precision; where it vanishes in a lattice, the remainder is rounding noise.
double Tolerance(const Column& column, double value) {
  const bool waves = column.name.find("structure") != std::string::npos || column.name == "domain_spacing";
  return (waves ? 1e-4 : 1e-5) * std::max(std::abs(value), waves ? 1.0 : 0.1);
}

void ExpectSame(const std::vector<Column>& columns, const std::vector<double>& device, const std::vector<double>& cpu) {
  ASSERT_EQ(device.size(), cpu.size());
  std::size_t at = 0;
  for (const Column& column : columns) {
    for (int k = 0; k < column.width; ++k, ++at) {
      if (std::isnan(cpu[at])) {
        EXPECT_TRUE(std::isnan(device[at])) << column.name << " " << k << ": " << device[at];
      } else {
        EXPECT_NEAR(device[at], cpu[at], IsInteger(column) ? 0 : Tolerance(column, cpu[at])) << column.name << " " << k;
      }
    }
  }
}

// Measures a bed both ways: right after its lists are built, and after beads have drifted as far as allowed.
template <class Index = kernels::cuda::StreamedIndex>
void ExpectMeasuredAsOnTheCpu(const Snapshot& start, const RunSpec& spec, bool whole = true) {
  for (const double drift : {0.0, 0.2}) {
    DeviceBed<Index> bed(spec, start, drift, 5);
    ASSERT_LE(bed.max_partners(), bed.capacity());
    const Observables observables(spec);
    SCOPED_TRACE(testing::Message() << start.x.size() << " beads, drift " << drift);
    ExpectSame(observables.columns(), bed.Columns(whole), observables.Measure(bed.snapshot(), whole));
  }
}
template <class Index = kernels::cuda::StreamedIndex>
void ExpectMeasuredAsOnTheCpu(const Snapshot& start) {
  ExpectMeasuredAsOnTheCpu<Index>(start, SpecOf(start));
}

Snapshot RandomBed(int n, double spinner_probability, std::uint32_t seed, double density = 0.9) {
  std::mt19937 random(seed);
  const double side = std::max(3.0, std::sqrt(n / density));
  return RandomSnapshot(n, side, side, spinner_probability, random);
}

TEST(MeasureBed, OfRandomBedsIsThatOfTheCpu) {
  for (const int n : {1, 2, 7, 8, 33, 70, 80, 100, 120, 300, 1536})
    ExpectMeasuredAsOnTheCpu(RandomBed(n, 0.3, 11u + n));
}

TEST(MeasureBed, WithShortIndicesIsThatOfTheCpu) {
  ExpectMeasuredAsOnTheCpu<kernels::cuda::ResidentIndex>(RandomBed(300, 0.5, 3));
}

TEST(MeasureBed, OfBedsOfOneKindIsThatOfTheCpu) {
  for (const double chance : {0.0, 1.0}) {
    for (const int n : {1, 2, 7, 300}) ExpectMeasuredAsOnTheCpu(RandomBed(n, chance, 7));
  }
}

// Sparse beds, with small clusters and distant neighbours.
TEST(MeasureBed, OfSparseBedsIsThatOfTheCpu) {
  for (const int n : {9, 400}) ExpectMeasuredAsOnTheCpu(RandomBed(n, 0.5, 23, 0.05));
}

// More spinners than one single-precision partial sum covers.
TEST(MeasureBed, OfManySpinnersIsThatOfTheCpu) { ExpectMeasuredAsOnTheCpu(RandomBed(2600, 0.9, 29)); }

TEST(MeasureBed, OfAnEmptyHalfIsThatOfTheCpu) {
  std::mt19937 random(17);
  Snapshot bed = RandomSnapshot(500, 40, 25, 0.4, random);
  for (auto& x : bed.x) x /= 2;
  ExpectMeasuredAsOnTheCpu(bed);
  for (auto& y : bed.y) y = y / 4 + 0xe0000000u;  // a dense group across the boundary
  ExpectMeasuredAsOnTheCpu(bed);
}

TEST(MeasureBed, OfThinBedsIsThatOfTheCpu) {
  std::mt19937 random(19);
  ExpectMeasuredAsOnTheCpu(RandomSnapshot(300, 3.2, 100, 0.5, random));
  ExpectMeasuredAsOnTheCpu(RandomSnapshot(300, 80, 4.5, 0.5, random));
}

TEST(MeasureBed, OfBeadsAtOnePositionIsThatOfTheCpu) {
  Snapshot bed = RandomBed(60, 0.5, 31);
  for (std::size_t i = 0; i < 20; ++i) {
    bed.x[i + 20] = bed.x[i];
    bed.y[i + 20] = bed.y[i];
    bed.spinner[i + 20] = bed.spinner[i];
  }
  ExpectMeasuredAsOnTheCpu(bed);
}

// Lattices: all neighbours at equal distance, and clusters that wrap along either axis, along both, and diagonally.
TEST(MeasureBed, OfLatticesIsThatOfTheCpu) {
  Snapshot bed = TriangularCrystal(16, 16, 1.125);
  ExpectMeasuredAsOnTheCpu(bed);
  const auto mark = [&](const auto& chosen) {
    for (std::size_t i = 0; i < bed.x.size(); ++i) {
      bed.spinner[i] = chosen(static_cast<int>(i % 16), static_cast<int>(i / 16)) ? 1 : 0;
    }
    ExpectMeasuredAsOnTheCpu(bed);
  };
  mark([](int, int row) { return row % 8 < 3; });
  mark([](int column, int) { return column % 8 < 3; });
  mark([](int column, int row) { return (column + row / 2) % 8 < 2; });
  mark([](int column, int row) { return (column + row) % 8 < 2; });
  mark([](int column, int row) { return column % 4 == 0 || row % 4 == 0; });
  mark([](int column, int row) { return (column + 3 * row) % 5 == 0; });
}

// A chain that winds round a thin bed without closing: its radius is far larger than the side.
TEST(MeasureBed, OfAWindingChainIsThatOfTheCpu) {
  Snapshot bed = EmptySnapshot(4, 60);
  for (int i = 0; i < 110; ++i) AddBead(bed, 0.9 * i, 0.5 * i + 1, true);
  const RunSpec spec = SpecOf(bed);
  ExpectMeasuredAsOnTheCpu(bed, spec);
  const MeasuredSums sums = DeviceBed<kernels::cuda::StreamedIndex>(spec, bed, 0, 1).Sums(false);
  EXPECT_EQ(sums.spinners.count, 1u);
  EXPECT_EQ(sums.spinners.wrapping, 0u);
  EXPECT_GT(static_cast<double>(sums.spinners.radius_quanta) / 110 * kRadiusQuantum, 25);
}

TEST(MeasureBed, OfEveryDriveAndLawIsThatOfTheCpu) {
  const Snapshot bed = RandomBed(200, 0.4, 37);
  for (const auto equation : {DynamicsSpec::Equation::kLagged, DynamicsSpec::Equation::kBrownian}) {
    for (const auto quantity : {DriveSpec::Quantity::kRate, DriveSpec::Quantity::kTorque}) {
      RunSpec spec = SpecOf(bed);
      spec.dynamics.equation = equation;
      spec.drive.quantity = quantity;
      spec.friction.exponent = 2;
      spec.friction.cutoff = 1.5;
      spec.drag = {1.5, 0.5};
      ExpectMeasuredAsOnTheCpu(bed, spec, false);
    }
  }
  for (const auto law : {ForceSpec::Law::kSoft, ForceSpec::Law::kHarmonic, ForceSpec::Law::kYukawa}) {
    RunSpec spec = SpecOf(bed);
    spec.force.law = law;
    spec.force.cutoff = 1.125;
    ExpectMeasuredAsOnTheCpu(bed, spec, false);
  }
}

TEST(MeasureBed, LeavesOutStructureUnlessRequested) {
  const Snapshot bed = RandomBed(100, 0.5, 41);
  ExpectMeasuredAsOnTheCpu(bed, SpecOf(bed), false);
}

TEST(MeasureBed, CountsLostBeads) {
  const Snapshot start = RandomBed(100, 0.5, 43);
  DeviceBed<kernels::cuda::StreamedIndex> bed(SpecOf(start), start, 0, 1);
  EXPECT_EQ(bed.Sums(false).lost, 0u);
  bed.tags()[5] = bed.tags()[6];
  EXPECT_EQ(bed.Sums(false).lost, 1u);
  bed.tags()[7] = 1000;
  EXPECT_EQ(bed.Sums(false).lost, 2u);
}

// Sums of squares of positions must fit into 63 bits, and positions must stay fine enough.
TEST(PositionBits, FitTheSumsOfSquares) {
  for (const std::uint32_t size : {2u, 3u, 1000u, 1u << 20, (1u << 20) - 1, 4000000u}) {
    for (const std::uint32_t extent : {1u, 2u, 7u, 100u, 4000u, 2000000u}) {
      const int bits = cuda::PositionBits(size, extent);
      const double largest = std::ldexp(extent, bits);
      EXPECT_LT(size * 2 * largest * largest, 0x1p63);
      EXPECT_GE(size * 2 * largest * largest, 0x1p56);
    }
  }
}

}  // namespace
}  // namespace gyrebox::kernels
