#include "measure/clusters/minkowski_functionals.h"

#include <gtest/gtest.h>

#include <array>
#include <bit>
#include <complex>
#include <numbers>

#include "estimate.h"
#include "measure/clusters/clusters.h"
#include "snapshots.h"

namespace gyrebox::kernels {
namespace {

constexpr double kPi = std::numbers::pi;

// Area, boundary length and Euler characteristic.
struct Shape {
  double area, boundary;
  std::int64_t euler;
};
Shape ShapeOf(const Snapshot& bed, double radius) {
  CellList scratch;
  const auto shape = MeasureMinkowskiFunctionals(bed.x, bed.y, bed.side_x, bed.side_y, radius, scratch);
  const double area = bed.side_x * bed.side_y;
  return {shape.area_fraction * area, shape.boundary_per_area * area, shape.euler};
}
void ExpectShape(const Snapshot& bed, double radius, const Shape& truth) {
  const Shape shape = ShapeOf(bed, radius);
  EXPECT_NEAR(shape.area, truth.area, 1e-6);
  EXPECT_NEAR(shape.boundary, truth.boundary, 1e-6);
  EXPECT_EQ(shape.euler, truth.euler);
}

// Exact: overlap area of two discs at a distance, and the arc of each that the other covers.
double Lens(double radius, double d) {
  return 2 * radius * radius * std::acos(d / (2 * radius)) - d / 2 * std::sqrt(4 * radius * radius - d * d);
}
double CoveredArc(double radius, double d) { return 2 * radius * std::acos(d / (2 * radius)); }

TEST(MinkowskiFunctionals, OfNoDiscsIsNothing) { ExpectShape(EmptySnapshot(10, 10), 0.6, {0, 0, 0}); }

TEST(MinkowskiFunctionals, OfOneDiscIsTheDisc) {
  Snapshot bed = EmptySnapshot(10, 8);
  AddBead(bed, 9.9, 0.1);
  ExpectShape(bed, 0.6, {kPi * 0.36, 2 * kPi * 0.6, 1});
}

TEST(MinkowskiFunctionals, OfTwoDiscsLacksTheirLens) {
  for (const double d : {0.01, 0.3, 0.9, 1.19}) {
    Snapshot bed = EmptySnapshot(10, 8);
    AddBead(bed, 9.8, 0.1);
    AddBead(bed, 9.8 + 0.6 * d, 0.1 - 0.8 * d);
    ExpectShape(bed, 0.6, {2 * kPi * 0.36 - Lens(0.6, d), 4 * kPi * 0.6 - 2 * CoveredArc(0.6, d), 1});
  }
}

TEST(MinkowskiFunctionals, CountsCoincidentDiscsOnce) {
  Snapshot bed = EmptySnapshot(10, 8);
  for (int i = 0; i < 3; ++i) AddBead(bed, 5, 5);
  for (int i = 0; i < 2; ++i) AddBead(bed, 5.5, 5);
  ExpectShape(bed, 0.6, {2 * kPi * 0.36 - Lens(0.6, 0.5), 4 * kPi * 0.6 - 2 * CoveredArc(0.6, 0.5), 1});
}

// Three discs in a triangle of side d leave a hole in the middle while the radius is below d/sqrt(3).
TEST(MinkowskiFunctionals, OfThreeDiscsAroundAHoleHasEulerZero) {
  const double d = 1.1;
  Snapshot bed = EmptySnapshot(10, 8);
  for (int i = 0; i < 3; ++i) {
    AddBead(bed, 5 + d / std::sqrt(3.0) * std::cos(2 * kPi * i / 3),
            4 + d / std::sqrt(3.0) * std::sin(2 * kPi * i / 3));
  }
  ExpectShape(bed, 0.6, {3 * (kPi * 0.36 - Lens(0.6, d)), 6 * kPi * 0.6 - 6 * CoveredArc(0.6, d), 0});
  EXPECT_EQ(ShapeOf(bed, 0.54).euler, 3);
  EXPECT_EQ(ShapeOf(bed, 0.64).euler, 1);
}

TEST(MinkowskiFunctionals, OfABandRoundTheBedHasEulerZero) {
  Snapshot bed = EmptySnapshot(16, 8);
  for (int i = 0; i < 16; ++i) AddBead(bed, i, 0);
  ExpectShape(bed, 0.6, {16 * (kPi * 0.36 - Lens(0.6, 1)), 32 * (kPi * 0.6 - CoveredArc(0.6, 1)), 0});
}

TEST(MinkowskiFunctionals, OfAFullBedHasNoBoundary) {
  for (const Snapshot& bed : {TriangularCrystal(12, 10, 1), SquareCrystal(9, 11, 0.8)}) {
    ExpectShape(bed, 0.62, {bed.side_x * bed.side_y, 0, 0});
  }
}

// Exact: one hole per square, or two per bead of a triangular crystal, and one component that wraps both ways.
TEST(MinkowskiFunctionals, CountsTheHolesOfCrystals) {
  EXPECT_EQ(ShapeOf(SquareCrystal(9, 11, 1), 0.6).euler, -99);
  EXPECT_EQ(ShapeOf(TriangularCrystal(9, 10, 1.15), 0.6).euler, -180);
}

TEST(MinkowskiFunctionals, JoinsDiscsWhereClustersDo) {
  for (const std::uint32_t more : {0u, 1u}) {
    Snapshot bed = EmptySnapshot(16, 16);
    AddBead(bed, 3, 5);
    AddBead(bed, 4.25, 5);
    bed.x[1] += more;  // quanta
    ClusterFinder finder;
    const std::size_t pieces = more == 0 ? 1 : 2;
    EXPECT_EQ(finder.Find(bed.x, bed.y, 16, 16, 1.25).size(), pieces);
    EXPECT_EQ(ShapeOf(bed, 0.625).euler, static_cast<std::int64_t>(pieces));
  }
}

TEST(MinkowskiFunctionals, EulerIsClustersLessHoles) {
  Snapshot bed = EmptySnapshot(30, 20);
  for (const double centre : {0.2, 10.0, 20.0}) {  // rings around a hole
    for (int i = 0; i < 9; ++i)
      AddBead(bed, centre + 1.5 * std::cos(2 * kPi * i / 9), 5 + 1.5 * std::sin(2 * kPi * i / 9));
  }
  for (const double x : {3.0, 9.0, 15.0, 21.0}) AddBead(bed, x, 12);
  ClusterFinder finder;
  EXPECT_EQ(finder.Find(bed.x, bed.y, 30, 20, 1.25).size(), 7u);
  EXPECT_EQ(ShapeOf(bed, 0.625).euler, 7 - 3);
}

// Whether three discs have a common point: one of their centres, or of the points where two circles meet.
bool Share(const std::array<std::complex<double>, 3>& centres, double radius) {
  const auto in_all = [&](std::complex<double> point) {
    return std::all_of(centres.begin(), centres.end(), [&](auto c) { return std::abs(point - c) <= radius + 1e-12; });
  };
  for (std::size_t i = 0; i < 3; ++i) {
    if (in_all(centres[i])) return true;
    const auto a = centres[i], way = centres[(i + 1) % 3] - a;
    const double half = std::abs(way) / 2;
    if (half > radius) return false;
    const auto middle = a + way / 2.0, up = std::complex<double>(0, 1) * way / (2 * half);
    const double height = std::sqrt(radius * radius - half * half);
    if (in_all(middle + up * height) || in_all(middle - up * height)) return true;
  }
  return false;
}

// Exact: the Euler characteristic of a union is the sum over all sets of discs with a common point, +1 for odd and -1
// for even sets (nerve theorem); discs have a common point where every three of them do (Helly's theorem).
std::int64_t EulerByInclusionAndExclusion(const std::vector<std::complex<double>>& centres, double radius) {
  const unsigned n = static_cast<unsigned>(centres.size());
  std::int64_t euler = 0;
  std::vector<char> meet(1u << n, 1);
  for (unsigned set = 1; set < 1u << n; ++set) {
    const int size = std::popcount(set);
    std::vector<unsigned> members;
    for (unsigned i = 0; i < n; ++i) {
      if (set >> i & 1) members.push_back(i);
    }
    if (size == 2) {
      meet[set] = std::abs(centres[members[0]] - centres[members[1]]) <= 2 * radius;
    } else if (size == 3) {
      meet[set] = Share({centres[members[0]], centres[members[1]], centres[members[2]]}, radius);
    } else if (size > 3) {
      // Every triple of a set of four or more lies in a subset that omits one member.
      for (const unsigned i : members) meet[set] = meet[set] && meet[set ^ 1u << i];
    }
    if (meet[set]) euler += size % 2 == 1 ? 1 : -1;
  }
  return euler;
}

TEST(MinkowskiFunctionals, EulerIsThatOfInclusionAndExclusion) {
  std::mt19937 random(1);
  for (const double width : {2.0, 3.0, 4.0, 6.0}) {
    std::uniform_real_distribution<double> position(0, width);
    for (int k = 0; k < 100; ++k) {
      Snapshot bed = EmptySnapshot(20, 20);
      std::vector<std::complex<double>> centres;
      for (int i = 0; i < 12; ++i) {
        centres.push_back({position(random), position(random)});
        AddBead(bed, centres.back().real() - 1, centres.back().imag() - 1);
      }
      ASSERT_EQ(ShapeOf(bed, 0.6).euler, EulerByInclusionAndExclusion(centres, 0.6)) << width << ", " << k;
    }
  }
}

// Means of random discs, eta = density pi r^2: covered fraction 1 - exp(-eta), boundary per area 2 pi r density
// exp(-eta), Euler characteristic per area density (1 - eta) exp(-eta). Formulas of Mecke and of Miles and Davy, from
// memory.
TEST(BooleanModel, HasItsThreeMeasures) {
  std::mt19937 random(2);
  CellList scratch;
  for (const double eta : {0.5, 1.0, 1.5}) {
    const double density = eta / kPi, side_x = 24, side_y = 31;
    std::poisson_distribution<int> count(density * side_x * side_y);
    Estimate area, boundary, euler;
    for (int k = 0; k < 1000; ++k) {
      const Snapshot bed = RandomSnapshot(count(random), side_x, side_y, 1, random);
      const auto shape = MeasureMinkowskiFunctionals(bed.x, bed.y, side_x, side_y, 1, scratch);
      area.Add(shape.area_fraction);
      boundary.Add(shape.boundary_per_area);
      euler.Add(static_cast<double>(shape.euler) / (side_x * side_y));
    }
    ExpectAgrees(area, 1 - std::exp(-eta));
    ExpectAgrees(boundary, 2 * kPi * density * std::exp(-eta));
    EXPECT_LT(euler.error(), 0.001);
    EXPECT_NEAR(euler.mean(), density * (1 - eta) * std::exp(-eta), 4 * euler.error());
  }
}

TEST(MinkowskiFunctionals, DoesNotDependOnOrderOrOrigin) {
  std::mt19937 random(3);
  const Snapshot bed = RandomSnapshot(300, 20, 24, 1, random);
  const Shape truth = ShapeOf(bed, 0.6);
  for (int k = 0; k < 10; ++k) {
    for (const Snapshot& other : {Shuffled(bed, random), Shifted(bed, random)}) {
      const Shape found = ShapeOf(other, 0.6);
      EXPECT_NEAR(found.area, truth.area, 1e-9);
      EXPECT_NEAR(found.boundary, truth.boundary, 1e-9);
      EXPECT_EQ(found.euler, truth.euler);
    }
  }
}

}  // namespace
}  // namespace gyrebox::kernels
