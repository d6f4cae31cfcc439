// Effect of stronger drives on domains. Each claim marked "common practice" is tested on independent realizations; a
// difference counts as significant where Welch's t exceeds 3.
#include <algorithm>
#include <cstdio>

#include "physics/driven_beds.h"

namespace gyrebox {
namespace {

constexpr double kSignificance = 3;
const std::vector<double> kAmplitudes = {8, 20, 40, 90, 135, 300};
const std::vector<double> kPackings = {0.50, 0.55, 0.60};

/// Sizes at 2 cycles/tau, by packing and amplitude.
struct Sizes {
  std::vector<std::vector<OverStarts>> number, weight;
};

const Sizes& AllSizes() {
  static const Sizes sizes = [] {
    std::vector<DrivenBed> beds;
    for (const double packing : kPackings) {
      for (const double amplitude : kAmplitudes) beds.push_back({packing, 2, {amplitude}, 120, 0.002});
    }
    const auto plateaus = PlateausOf(beds, {"spinner_number_average_size", "spinner_weight_average_size"});
    Sizes all{{kPackings.size(), std::vector<OverStarts>()}, {kPackings.size(), std::vector<OverStarts>()}};
    for (std::size_t b = 0; b < beds.size(); ++b) {
      const Mean number = MeanOf(plateaus[b][0]), weight = MeanOf(plateaus[b][1]);
      std::printf("packing %g, A %g: number %.3g +- %.2g, weight %.3g +- %.2g\n", beds[b].packing,
                  beds[b].amplitudes[0], number.value, number.error, weight.value, weight.error);
      all.number[b / kAmplitudes.size()].push_back(plateaus[b][0]);
      all.weight[b / kAmplitudes.size()].push_back(plateaus[b][1]);
    }
    return all;
  }();
  return sizes;
}

std::size_t Largest(const std::vector<OverStarts>& curve) {
  const auto less = [](const OverStarts& a, const OverStarts& b) { return MeanOf(a).value < MeanOf(b).value; };
  return static_cast<std::size_t>(std::max_element(curve.begin(), curve.end(), less) - curve.begin());
}

// Common practice: mean sizes show an onset, a maximum and a decline.
TEST(StrongDrive, MakesTheNumberAverageRiseAndFall) {
  for (const auto& curve : AllSizes().number) {
    const std::size_t top = Largest(curve);
    EXPECT_GT(WelchT(curve[top], curve.front()), kSignificance);
    EXPECT_GT(WelchT(curve[top], curve.back()), kSignificance);
  }
}

// Found here: single spinners leave the domains, while the domains persist.
TEST(StrongDrive, MovesTheMaximumOfTheWeightAverageToAStrongerDrive) {
  for (std::size_t p = 0; p < kPackings.size(); ++p) {
    const auto& weight = AllSizes().weight[p];
    const std::size_t top = Largest(AllSizes().number[p]);
    EXPECT_GT(Largest(weight), top);
    EXPECT_GT(WelchT(weight.back(), weight[top]), kSignificance);
  }
}

// Common practice: the spread over realizations is larger where domains are larger. Spearman's rank correlation of 18
// points; without correlation, |r| exceeds 0.71 once in a thousand (normal approximation, 0.71 sqrt(17) = 2.9, no ties,
// two-sided).
TEST(StrongDrive, SpreadsRealizationsWhereDomainsAreLarge) {
  std::vector<std::pair<double, double>> points;  // mean, standard deviation
  for (const auto& curve : AllSizes().weight) {
    for (const OverStarts& starts : curve) {
      const Mean mean = MeanOf(starts);
      points.emplace_back(mean.value, mean.error * std::sqrt(static_cast<double>(starts.size())));
      std::printf("  size %.3g, deviation %.2g, its fraction %.2g\n", points.back().first, points.back().second,
                  points.back().second / points.back().first);
    }
  }
  const auto rank = [&](auto member, std::size_t of) {
    return std::count_if(points.begin(), points.end(), [&](const auto& p) { return p.*member < points[of].*member; });
  };
  using Point = std::pair<double, double>;
  const double n = static_cast<double>(points.size());
  double squares = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    squares += std::pow(static_cast<double>(rank(&Point::first, i) - rank(&Point::second, i)), 2);
  }
  const double spearman = 1 - 6 * squares / (n * (n * n - 1));
  std::printf("  rank correlation %.2f\n", spearman);
  EXPECT_GT(spearman, 0.71);
}

}  // namespace
}  // namespace gyrebox
