#include "measure/clusters/clusters.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <map>
#include <numbers>
#include <numeric>
#include <random>

#include "estimate.h"
#include "lattice.h"
#include "model/fixed_point.h"

namespace gyrebox::kernels {
namespace {

using Positions = std::vector<std::uint32_t>;

struct Points {
  double side_x, side_y;
  Positions x{}, y{};

  void Add(double at_x, double at_y) {
    x.push_back(ToFixed(at_x / side_x));
    y.push_back(ToFixed(at_y / side_y));
  }
  std::span<const Cluster> Find(ClusterFinder& finder, double bond = 1.25) const {
    return finder.Find(x, y, side_x, side_y, bond);
  }
};

Points RandomPoints(int count, double side_x, double side_y, unsigned seed) {
  std::mt19937 random(seed);
  Points points{side_x, side_y};
  for (int i = 0; i < count; ++i) {
    points.x.push_back(random());
    points.y.push_back(random());
  }
  return points;
}

std::vector<std::int64_t> Sizes(std::span<const Cluster> clusters) {
  std::vector<std::int64_t> sizes;
  for (const Cluster& cluster : clusters) sizes.push_back(cluster.size);
  std::sort(sizes.begin(), sizes.end());
  return sizes;
}

// Values of a summary; equal bytes mean bitwise equality.
std::vector<double> Values(std::span<const Cluster> clusters) {
  std::vector<double> values;
  AppendTo(Summarize(clusters), values);
  return values;
}
void ExpectSameBits(const std::vector<double>& a, const std::vector<double>& b) {
  ASSERT_EQ(a.size(), b.size());
  EXPECT_EQ(std::memcmp(a.data(), b.data(), a.size() * sizeof(double)), 0);
}

// Exact: clusters of sizes 1, 1, 2 and 4 have averages 8/4 and 22/8.
TEST(ClusterSummary, AveragesByNumberAndByWeight) {
  Points points{40, 40};
  for (const double x : {2.0, 6.0, 10.0, 11.0, 20.0, 21.0, 22.0, 23.0}) points.Add(x, 5);
  ClusterFinder finder;
  const auto clusters = points.Find(finder);
  EXPECT_THAT(Sizes(clusters), testing::ElementsAre(1, 1, 2, 4));
  const ClusterSummary summary = Summarize(clusters);
  EXPECT_DOUBLE_EQ(summary.number_average_size, 2);
  EXPECT_DOUBLE_EQ(summary.weight_average_size, 2.75);
  EXPECT_EQ(summary.largest_size, 4);
  EXPECT_EQ(summary.count, 4);
  EXPECT_EQ(summary.wrapping_count, 0);
  EXPECT_TRUE(std::isnan(summary.size_spread));
  // A pair at distance 1 has a radius of gyration of 1/2, a row of four sqrt(5)/2.
  EXPECT_NEAR(summary.radius_of_gyration, (2 * 0.5 + 4 * std::sqrt(5.0) / 2) / 6, 1e-7);
}

TEST(ClusterSummary, CountsSizesByPowersOfTwo) {
  std::vector<Cluster> clusters;
  for (const std::int64_t size : {1, 1, 2, 3, 4, 7, 8, 1 << 22, 1 << 23, 1 << 24, 1 << 30}) {
    clusters.push_back({.size = size});
  }
  const auto histogram = Summarize(clusters).size_histogram;
  EXPECT_EQ(histogram[0], 2);
  EXPECT_EQ(histogram[1], 2);
  EXPECT_EQ(histogram[2], 2);
  EXPECT_EQ(histogram[3], 1);
  EXPECT_EQ(histogram[22], 1);
  EXPECT_EQ(histogram[23], 3);
  EXPECT_EQ(std::accumulate(histogram.begin(), histogram.end(), std::int64_t{0}), 11);
}

TEST(ClusterSummary, SpreadIsOfClustersOfFiveOrMore) {
  std::vector<Cluster> clusters;
  for (const std::int64_t size : {1, 4, 4, 6, 10}) clusters.push_back({.size = size});
  EXPECT_DOUBLE_EQ(Summarize(clusters).size_spread, 2.0 / 8);
  clusters.resize(4);
  EXPECT_EQ(Summarize(clusters).size_spread, 0);
}

TEST(ClusterSummary, OfNoSpinnersHasNoAverages) {
  ClusterFinder finder;
  const auto clusters = finder.Find({}, {}, 10, 10, 1.25);
  EXPECT_TRUE(clusters.empty());
  const ClusterSummary summary = Summarize(clusters);
  EXPECT_TRUE(std::isnan(summary.number_average_size));
  EXPECT_TRUE(std::isnan(summary.weight_average_size));
  EXPECT_TRUE(std::isnan(summary.size_spread));
  EXPECT_TRUE(std::isnan(summary.radius_of_gyration));
  EXPECT_EQ(summary.largest_size, 0);
  EXPECT_EQ(summary.count, 0);
  EXPECT_THAT(summary.size_histogram, testing::Each(0));
}

TEST(ClusterSummary, HasAValueForEveryColumn) {
  int width = 0;
  for (const Column& column : ClusterColumns()) {
    width += column.width;
    EXPECT_FALSE(column.name.empty());
    EXPECT_TRUE(column.definition.ends_with(".")) << column.name;
  }
  EXPECT_EQ(static_cast<std::size_t>(width), Values({}).size());
}

// Clusters by joining every pair within the bond length, one pair after another.
std::vector<int> LabelsByTryingAll(const Points& points, double bond) {
  const int n = static_cast<int>(points.x.size());
  std::vector<int> label(n);
  std::iota(label.begin(), label.end(), 0);
  for (int i = 0; i < n; ++i) {
    for (int j = 0; j < i; ++j) {
      const double dx = Difference(points.x[i], points.x[j], points.side_x * 0x1p-32);
      const double dy = Difference(points.y[i], points.y[j], points.side_y * 0x1p-32);
      if (dx * dx + dy * dy > bond * bond || label[i] == label[j]) continue;
      std::replace(label.begin(), label.end(), int{label[i]}, int{label[j]});
    }
  }
  return label;
}

TEST(Clusters, AreThoseFoundByTryingAllPairs) {
  ClusterFinder finder;  // shared, so that its scratch memory is reused
  for (unsigned seed = 0; seed < 40; ++seed) {
    const double side_x = 3 + seed, side_y = 33 - 0.7 * seed;
    const Points points = RandomPoints(40 + 10 * static_cast<int>(seed % 30), side_x, side_y, seed);
    const auto clusters = points.Find(finder);
    const auto truth = LabelsByTryingAll(points, 1.25);
    std::map<int, std::uint32_t> match;
    std::map<int, std::int64_t> sizes;
    for (std::size_t i = 0; i < truth.size(); ++i) {
      const auto [at, is_new] = match.insert({truth[i], finder.labels()[i]});
      ASSERT_EQ(at->second, finder.labels()[i]) << "bead " << i << ", seed " << seed;
      ++sizes[truth[i]];
    }
    ASSERT_EQ(match.size(), clusters.size());
    for (const auto& [label, size] : sizes) ASSERT_EQ(clusters[match[label]].size, size);
  }
}

TEST(Clusters, OfGivenBondsAreThoseFoundByDistance) {
  ClusterFinder finder;
  for (unsigned seed = 0; seed < 20; ++seed) {
    const Points points = RandomPoints(300, 17, 23 - 0.5 * seed, seed);
    std::vector<Bond> bonds;
    for (std::uint32_t i = 0; i < points.x.size(); ++i) {
      for (std::uint32_t j = 0; j < i; ++j) {
        const double dx = Difference(points.x[i], points.x[j], points.side_x * 0x1p-32);
        const double dy = Difference(points.y[i], points.y[j], points.side_y * 0x1p-32);
        if (dx * dx + dy * dy <= 1.25 * 1.25) bonds.push_back({i, j});
      }
    }
    const std::vector<double> truth = Values(points.Find(finder));
    ExpectSameBits(Values(finder.Find(points.x, points.y, points.side_x, points.side_y, bonds)), truth);
    bonds.clear();
    EXPECT_EQ(finder.Find(points.x, points.y, points.side_x, points.side_y, bonds).size(), 300u);
  }
}

TEST(Clusters, DoNotDependOnTheOrderOfTheBeads) {
  ClusterFinder finder;
  for (unsigned seed = 0; seed < 10; ++seed) {
    Points points = RandomPoints(500, 25, 21, seed);
    const auto before = Values(points.Find(finder));
    std::vector<std::size_t> order(500);
    std::iota(order.begin(), order.end(), 0u);
    std::shuffle(order.begin(), order.end(), std::mt19937(seed));
    Points shuffled{25, 21};
    for (const std::size_t i : order) {
      shuffled.x.push_back(points.x[i]);
      shuffled.y.push_back(points.y[i]);
    }
    ExpectSameBits(Values(shuffled.Find(finder)), before);
  }
}

TEST(Clusters, DoNotDependOnTheOriginOfTheSides) {
  ClusterFinder finder;
  std::mt19937 random(1);
  Points points = RandomPoints(500, 25, 21, 3);
  const auto before = Values(points.Find(finder));
  for (int k = 0; k < 20; ++k) {
    const std::uint32_t shift_x = random(), shift_y = random();
    for (auto& x : points.x) x += shift_x;
    for (auto& y : points.y) y += shift_y;
    ExpectSameBits(Values(points.Find(finder)), before);
  }
}

// Exact: s^2 Rg^2 is the sum of squared distances over all pairs.
TEST(Clusters, RadiusOfGyrationIsThatOfAllPairs) {
  std::mt19937 random(5);
  std::normal_distribution<double> spread(0, 0.8);
  ClusterFinder finder;
  for (int k = 0; k < 20; ++k) {
    Points points{30, 20};
    std::vector<std::pair<double, double>> open;  // the same points without periodic wrapping
    for (int i = 0; i < 12; ++i) open.push_back({29.5 + spread(random), 0.3 + spread(random)});
    for (const auto& [x, y] : open) points.Add(x, y);
    const auto clusters = points.Find(finder, 9);
    ASSERT_EQ(clusters.size(), 1u);
    double sum = 0;
    for (const auto& a : open) {
      for (const auto& b : open) sum += std::pow(a.first - b.first, 2) + std::pow(a.second - b.second, 2);
    }
    EXPECT_NEAR(clusters[0].radius_of_gyration, std::sqrt(sum / 2) / 12, 1e-7);
  }
}

Cluster OnlyCluster(const Points& points, double bond) {
  ClusterFinder finder;
  const auto clusters = points.Find(finder, bond);
  EXPECT_EQ(clusters.size(), 1u);
  return clusters.empty() ? Cluster{} : clusters[0];
}

void ExpectWraps(const Cluster& cluster, bool x, bool y, int directions) {
  EXPECT_EQ(cluster.wraps_x, x);
  EXPECT_EQ(cluster.wraps_y, y);
  EXPECT_EQ(cluster.wrap_directions, directions);
  EXPECT_EQ(std::isnan(cluster.radius_of_gyration), directions > 0);
}

TEST(Wrapping, ARowWrapsInOneDirection) {
  Points row{16, 16};
  for (int i = 0; i < 16; ++i) row.Add(i, 3);
  ExpectWraps(OnlyCluster(row, 1.25), true, false, 1);
  Points column{16, 16};
  for (int i = 0; i < 16; ++i) column.Add(3, i);
  ExpectWraps(OnlyCluster(column, 1.25), false, true, 1);
}

TEST(Wrapping, ACrossWrapsInTwoDirections) {
  Points cross{16, 16};
  for (int i = 0; i < 16; ++i) {
    cross.Add(i, 3);
    if (i != 3) cross.Add(3, i);
  }
  ExpectWraps(OnlyCluster(cross, 1.25), true, true, 2);
}

TEST(Wrapping, ADiagonalWrapsInOneDirectionOnly) {
  Points diagonal{16, 16};
  for (int i = 0; i < 16; ++i) diagonal.Add(i, i);
  ExpectWraps(OnlyCluster(diagonal, 1.5), true, true, 1);
}

TEST(Wrapping, ASpiralWrapsInOneDirectionOnly) {
  Points spiral{16, 16};
  for (int i = 0; i < 36; ++i) spiral.Add(16 * i / 36.0, 32 * i / 36.0);
  ExpectWraps(OnlyCluster(spiral, 1.25), true, true, 1);
}

TEST(Wrapping, ARowWithAGapDoesNot) {
  Points row{16, 16};
  for (int i = 0; i < 15; ++i) row.Add(i + 8, 3);
  const Cluster cluster = OnlyCluster(row, 1.25);
  ExpectWraps(cluster, false, false, 0);
  EXPECT_NEAR(cluster.radius_of_gyration, std::sqrt((15.0 * 15 - 1) / 12), 1e-7);  // exact
}

TEST(Wrapping, ALoopInsideTheDomainDoesNot) {
  Points loop{16, 16};
  for (int i = 0; i < 24; ++i)
    loop.Add(16 + 4 * std::cos(i * std::numbers::pi / 12), 4 * std::sin(i * std::numbers::pi / 12));
  const Cluster cluster = OnlyCluster(loop, 1.25);
  ExpectWraps(cluster, false, false, 0);
  EXPECT_NEAR(cluster.radius_of_gyration, 4, 1e-7);  // exact
}

TEST(Wrapping, IsCountedPerCluster) {
  Points rows{16, 16};
  for (int i = 0; i < 16; ++i) {
    rows.Add(i, 3);
    rows.Add(i, 9);
  }
  rows.Add(4, 6);
  ClusterFinder finder;
  const ClusterSummary summary = Summarize(rows.Find(finder));
  EXPECT_EQ(summary.wrapping_count, 2);
  EXPECT_EQ(summary.count, 3);
  EXPECT_TRUE(std::isnan(summary.radius_of_gyration));
}

bool AnyWrapsBothWays(std::span<const Cluster> clusters) {
  return std::any_of(clusters.begin(), clusters.end(), [](const Cluster& c) { return c.wrap_directions == 2; });
}

// Exact for every choice of sites of a triangulated torus: clusters of chosen sites - clusters of the others = V - E +
// T + [chosen sites wrap both ways] - [others wrap both ways], where V, E, T count chosen sites, bonds and triangles.
TEST(TriangularTorus, ClustersObeyEulersIdentity) {
  std::mt19937_64 random(11);
  ClusterFinder finder;
  int wraps = 0;
  for (const double probability : {0.05, 0.2, 0.4, 0.48, 0.5, 0.52, 0.6, 0.8, 0.95}) {
    for (int k = 0; k < 20; ++k) {
      TriangularTorus torus(64);
      torus.ChooseAtRandom(probability, random);
      int characteristic = 0;
      for (int row = 0; row < 64; ++row) {
        for (int column = 0; column < 64; ++column) {
          if (!torus.At(column, row)) continue;
          const int right = torus.Right(column, row), up_right = torus.UpRight(column, row);
          const int up_left = torus.UpLeft(column, row);
          characteristic += 1 - (right + up_right + up_left) + right * up_right + up_right * up_left;
        }
      }
      const auto chosen = torus.Clusters(finder);
      const int chosen_count = static_cast<int>(chosen.size()), chosen_wrap = AnyWrapsBothWays(chosen);
      const auto others = torus.Clusters(finder, false);
      const int others_count = static_cast<int>(others.size()), others_wrap = AnyWrapsBothWays(others);
      ASSERT_EQ(chosen_count - others_count, characteristic + chosen_wrap - others_wrap) << probability;
      wraps += chosen_wrap + others_wrap;
    }
  }
  EXPECT_GT(wraps, 100);
  EXPECT_LT(wraps, 181);
}

struct RandomLabels {
  double probability, weight_average, number_average;
};

// Computed separately: series of the mean cluster sizes of random sites of the triangular lattice. A mean size over
// clusters is a ratio of means; its samples are linearised about the expected value.
TEST(TriangularTorus, RandomLabelsHaveTheMeanSizesOfTheSeries) {
  std::mt19937_64 random(12);
  ClusterFinder finder;
  for (const RandomLabels& c :
       {RandomLabels{0.02, 1.12761, 1.0629}, RandomLabels{0.05, 1.35189, 1.1696}, RandomLabels{0.1, 1.84456, 1.3889}}) {
    Estimate weight, number;
    for (int k = 0; k < 200; ++k) {
      TriangularTorus torus(128);
      torus.ChooseAtRandom(c.probability, random);
      double beads = 0, squares = 0, count = 0;
      for (const Cluster& cluster : torus.Clusters(finder)) {
        beads += static_cast<double>(cluster.size);
        squares += static_cast<double>(cluster.size * cluster.size);
        ++count;
      }
      const double expected_beads = c.probability * 128 * 128, expected_count = expected_beads / c.number_average;
      weight.Add(c.weight_average + (squares - c.weight_average * beads) / expected_beads);
      number.Add(c.number_average + (beads - c.number_average * count) / expected_count);
    }
    ExpectAgrees(weight, c.weight_average);
    ExpectAgrees(number, c.number_average);
  }
}

Points RandomRing(int length, double probability, std::mt19937_64& random) {
  std::bernoulli_distribution chance(probability);
  Points ring{static_cast<double>(length), 10};
  for (int i = 0; i < length; ++i) {
    if (chance(random)) ring.Add(i, 5);
  }
  return ring;
}

// Exact: a ring of N sites with occupation probability p has N p (1 - p) + p^N clusters on average.
TEST(Ring, HasTheMeanNumberOfClusters) {
  std::mt19937_64 random(13);
  ClusterFinder finder;
  for (const double p : {0.3, 0.5, 0.8}) {
    Estimate count;
    for (int k = 0; k < 10000; ++k) {
      count.Add(static_cast<double>(RandomRing(16, p, random).Find(finder).size()));
    }
    ExpectAgrees(count, 16 * p * (1 - p) + std::pow(p, 16));
  }
}

// Exact: random sites of a long chain have a weight-average size of (1 + p)/(1 - p).
TEST(Ring, HasTheMeanSizeOfAChain) {
  std::mt19937_64 random(14);
  ClusterFinder finder;
  const double p = 0.5;
  Estimate size;
  for (int k = 0; k < 200; ++k) {
    const Points ring = RandomRing(4096, p, random);
    double squares = 0;
    for (const Cluster& cluster : ring.Find(finder)) squares += static_cast<double>(cluster.size * cluster.size);
    size.Add(squares / (4096 * p) - 3 * (static_cast<double>(ring.x.size()) / (4096 * p) - 1));
  }
  ExpectAgrees(size, 3);
}

}  // namespace
}  // namespace gyrebox::kernels
