#include <gtest/gtest.h>

#include <complex>
#include <numbers>
#include <set>

#include "estimate.h"
#include "measure/structure_factor/structure_factor.h"
#include "snapshots.h"

namespace gyrebox::kernels {
namespace {

using Route = StructureFactor::Route;
constexpr double kPi = std::numbers::pi;

StructureSummary Measure(StructureFactor& structure, const Snapshot& bed, Route route) {
  return structure.Measure(bed.x, bed.y, bed.side_x, bed.side_y, route);
}

// Calls visit(n, m, S) for one of each pair of opposite wave vectors.
template <class Visit>
void ForWaves(const SpectralPower& waves, std::size_t n_beads, Visit visit) {
  for (int n = 0; n <= waves.reach_x; ++n) {
    for (int m = n == 0 ? 1 : -waves.ReachBeside(n); m <= waves.ReachBeside(n); ++m) {
      visit(n, m, waves.At(n, m) / static_cast<double>(n_beads));
    }
  }
}

TEST(DirectRoute, IsTheSumOverBeadsAveragedOverShells) {
  std::mt19937 random(1);
  StructureFactor structure;
  for (const auto& [side_x, side_y] : {std::pair{10.0, 10.0}, std::pair{7.0, 11.0}, std::pair{16.0, 5.0}}) {
    const Snapshot bed = RandomSnapshot(7, side_x, side_y, 1, random);
    const auto shells = Measure(structure, bed, Route::kDirect).shells;
    std::array<double, kWaveShells> sums{}, counts{};
    for (int n = -70; n <= 70; ++n) {
      for (int m = -70; m <= 70; ++m) {
        const double position = std::hypot(n / side_x, m / side_y) * std::max(side_x, side_y);
        if (position < 0.5 || position >= kWaveShells + 0.5) continue;
        std::complex<double> sum;
        for (std::size_t i = 0; i < bed.x.size(); ++i) {
          sum += std::polar(1.0, 2 * kPi * (n * FromFixed(bed.x[i], 1) + m * FromFixed(bed.y[i], 1)));
        }
        sums[static_cast<std::size_t>(position - 0.5)] += std::norm(sum) / 7;
        ++counts[static_cast<std::size_t>(position - 0.5)];
      }
    }
    for (std::size_t j = 0; j < shells.size(); ++j) EXPECT_NEAR(shells[j], sums[j] / counts[j], 1e-10) << j;
  }
}

TEST(GridRoute, AgreesWithTheSumOverBeads) {
  std::mt19937 random(2);
  StructureFactor direct, grid;
  for (const auto& [side_x, side_y] : {std::pair{41.0, 41.0}, std::pair{60.0, 28.0}, std::pair{9.0, 36.0}}) {
    const Snapshot bed = RandomSnapshot(460, side_x, side_y, 1, random);
    Measure(direct, bed, Route::kDirect);
    Measure(grid, bed, Route::kGrid);
    ForWaves(direct.waves(), 460, [&](int n, int m, double s) {
      const double on_grid = grid.waves().At(n, m) / 460;
      ASSERT_NEAR(std::sqrt(on_grid), std::sqrt(s), 1e-4) << n << ", " << m;
      if (s > 1e-3) {
        ASSERT_NEAR(on_grid, s, 0.01 * s) << n << ", " << m;
      }
    });
  }
}

// Exact for N random beads: S(k) has mean 1 and mean square 2 - 1/N.
TEST(IdealGas, HasStructureFactorOneAndItsSpread) {
  std::mt19937 random(3);
  StructureFactor structure;
  for (const Route route : {Route::kDirect, Route::kGrid}) {
    Estimate mean, square;
    for (int k = 0; k < 100; ++k) {
      const Snapshot bed = RandomSnapshot(200, 20, 23, 1, random);
      Measure(structure, bed, route);
      double sum = 0, squares = 0, count = 0;
      ForWaves(structure.waves(), 200, [&](int, int, double s) {
        sum += s;
        squares += s * s;
        ++count;
      });
      mean.Add(sum / count);
      square.Add(squares / count);
    }
    ExpectAgrees(mean, 1);
    ExpectAgrees(square, 2 - 1 / 200.0);
  }
}

// Exact: a triangular crystal of spacing a scatters into rings at 4 pi/(sqrt(3) a) times 1, sqrt(3), 2, sqrt(7), 3,
// sqrt(12), with S = N, and nowhere else.
TEST(TriangularCrystal, ScattersIntoItsRingsOnly) {
  const double spacing = 1.1;
  const Snapshot bed = TriangularCrystal(16, 16, spacing);
  StructureFactor structure;
  for (const Route route : {Route::kDirect, Route::kGrid}) {
    Measure(structure, bed, route);
    std::multiset<double> rings;
    ForWaves(structure.waves(), bed.x.size(), [&](int n, int m, double s) {
      if (s < 0.01) return;
      EXPECT_NEAR(s, 256, route == Route::kDirect ? 1e-6 : 0.1);
      const double k = 2 * kPi * std::hypot(n / bed.side_x, m / bed.side_y);
      rings.insert(std::pow(k / (4 * kPi / std::sqrt(3.0) / spacing), 2));
    });
    const std::multiset<double> truth = {1, 1, 1, 3, 3, 3, 4, 4, 4, 7, 7, 7, 7, 7, 7, 9, 9, 9, 12, 12, 12};
    ASSERT_EQ(rings.size(), truth.size());
    for (auto ring = rings.begin(), at = truth.begin(); ring != rings.end(); ++ring, ++at)
      EXPECT_NEAR(*ring, *at, 1e-6);
  }
}

// Beads with a density proportional to 1 + A cos(2 pi period x / side_x).
Snapshot Striped(int n_beads, double side, int period, double amplitude, std::mt19937& random) {
  std::uniform_real_distribution<double> uniform(0, 1);
  Snapshot bed = EmptySnapshot(side, side);
  while (static_cast<int>(bed.x.size()) < n_beads) {
    const double x = uniform(random), y = uniform(random);
    if (uniform(random) * (1 + amplitude) > 1 + amplitude * std::cos(2 * kPi * period * x)) continue;
    AddBead(bed, x * side, y * side);
  }
  return bed;
}

// Exact for N independent beads: S = 1 + (N - 1) A^2/4 at the wave vector of the density, 1 elsewhere.
TEST(StripedDensity, ShowsAtItsOwnWaveOnly) {
  std::mt19937 random(4);
  StructureFactor structure;
  Estimate at_wave, at_twice, across;
  for (int k = 0; k < 1000; ++k) {
    Measure(structure, Striped(300, 30, 5, 0.6, random), Route::kDirect);
    at_wave.Add(structure.waves().At(5, 0) / 300);
    at_twice.Add(structure.waves().At(10, 0) / 300);
    across.Add(structure.waves().At(0, 5) / 300);
  }
  ExpectAgrees(at_wave, 1 + 299 * 0.36 / 4, 0.02);
  ExpectAgrees(at_twice, 1, 0.05);
  ExpectAgrees(across, 1, 0.05);
}

TEST(Peak, IsAtTheWaveOfAStripedDensity) {
  std::mt19937 random(5);
  StructureFactor structure;
  for (const int period : {1, 3, 5, 8}) {
    const auto summary = Measure(structure, Striped(2000, 40, period, 0.8, random), Route::kGrid);
    EXPECT_NEAR(summary.spacing, 40.0 / period, 0.01 * 40 / period);
    EXPECT_NEAR(summary.peak * summary.spacing, 2 * kPi, 1e-12);
    EXPECT_NEAR(summary.width, 2 * kPi / 40, 1e-12);  // one shell
  }
}

// Spinners of a crystal whose labels repeat every eight columns; the rings of the crystal itself are higher, but at
// shorter spacings.
TEST(Peak, IsNotThatOfTheCrystalThatSpinnersSitOn) {
  const Snapshot crystal = TriangularCrystal(32, 32, 1.1);
  Snapshot spinners = EmptySnapshot(crystal.side_x, crystal.side_y);
  for (std::size_t i = 0; i < crystal.x.size(); ++i) {
    if ((crystal.x[i] >> 28) % 4 < 2) AddBeadAt(spinners, crystal.x[i], crystal.y[i]);
  }
  StructureFactor structure;
  EXPECT_NEAR(Measure(structure, spinners, Route::kGrid).spacing, crystal.side_x / 4, 0.01 * crystal.side_x);
}

TEST(Structure, DoesNotDependOnOrderOrOrigin) {
  std::mt19937 random(6);
  StructureFactor structure;
  const Snapshot bed = RandomSnapshot(300, 20, 30, 1, random);
  for (const auto& [route, tolerance] : {std::pair{Route::kDirect, 1e-9}, std::pair{Route::kGrid, 1e-3}}) {
    const auto truth = Measure(structure, bed, route);
    for (const Snapshot& other : {Shuffled(bed, random), Shifted(bed, random)}) {
      const auto found = Measure(structure, other, route);
      for (std::size_t j = 0; j < truth.shells.size(); ++j) ASSERT_NEAR(found.shells[j], truth.shells[j], tolerance);
      EXPECT_NEAR(found.peak, truth.peak, tolerance);
      EXPECT_NEAR(found.width, truth.width, tolerance);
    }
  }
}

TEST(Structure, OfNoSpinnersIsNotANumber) {
  StructureFactor structure;
  for (const Route route : {Route::kDirect, Route::kGrid}) {
    const auto summary = Measure(structure, EmptySnapshot(20, 20), route);
    for (const double s : summary.shells) EXPECT_TRUE(std::isnan(s));
    EXPECT_TRUE(std::isnan(summary.peak) && std::isnan(summary.width) && std::isnan(summary.spacing));
  }
}

}  // namespace
}  // namespace gyrebox::kernels
