// Memory of an earlier drive. Each claim marked "common practice" is tested on independent realizations; a difference
// counts as significant where Welch's t exceeds 3.
#include <cstdio>

#include "physics/driven_beds.h"

namespace gyrebox {
namespace {

constexpr double kSignificance = 3;

/// Number- and weight-average domain sizes, one value per realization.
struct Sizes {
  OverStarts number, weight;
};

/// Returns and prints the plateaus of the last stage.
std::vector<Sizes> SizesOf(const std::vector<DrivenBed>& beds, int starts) {
  std::vector<Sizes> sizes;
  for (auto& plateaus : PlateausOf(beds, {"spinner_number_average_size", "spinner_weight_average_size"}, starts)) {
    const DrivenBed& bed = beds[sizes.size()];
    sizes.push_back({plateaus[0], plateaus[1]});
    std::printf("packing %g, f %g, A", bed.packing, bed.frequency);
    for (const double amplitude : bed.amplitudes) std::printf(" %g", amplitude);
    const Mean number = MeanOf(sizes.back().number), weight = MeanOf(sizes.back().weight);
    std::printf(": number %.3g +- %.2g, weight %.3g +- %.2g\n", number.value, number.error, weight.value, weight.error);
  }
  return sizes;
}

/// Log-scale growth of domains under the stronger drive minus their shrinkage under the weaker one, for equal drive
/// steps. Returns t of its mean over realizations, each of which has all three stages.
double GrowsMoreThanItShrinks(const OverStarts& weaker, const OverStarts& same, const OverStarts& stronger) {
  std::vector<double> more;
  for (std::size_t i = 0; i < same.size(); ++i) {
    more.push_back(std::log(stronger[i] / same[i]) - std::log(same[i] / weaker[i]));
  }
  const Mean mean = MeanOf(more);
  std::printf("  log(growth / shrinkage) %.2f +- %.2g\n", mean.value, mean.error);
  return mean.value / mean.error;
}

// Common practice: shrinking domains by a factor takes a larger change of amplitude than growing them. A dense bed
// agrees: with the drive turned off, domains keep four fifths of their size.
TEST(DriveHistory, DenseDomainsGrowMoreReadilyThanTheyShrink) {
  const auto sizes =
      SizesOf({{0.70, 1, {20, 0}, 120, 0.002}, {0.70, 1, {20, 20}, 120, 0.002}, {0.70, 1, {20, 40}, 120, 0.002}}, 32);
  EXPECT_GT(GrowsMoreThanItShrinks(sizes[0].weight, sizes[1].weight, sizes[2].weight), kSignificance);
  EXPECT_GT(GrowsMoreThanItShrinks(sizes[0].number, sizes[1].number, sizes[2].number), kSignificance);
}

// Found here: in a loose bed domains come apart instead, yet they keep much of their size.
TEST(DriveHistory, LooseDomainsShrinkMoreReadilyThanTheyGrow) {
  const auto sizes = SizesOf({{0.55, 2, {60, 0}, 120, 0.002},
                              {0.55, 2, {60, 60}, 120, 0.002},
                              {0.55, 2, {60, 120}, 120, 0.002},
                              {0.55, 2, {0, 0}, 120, 0.002}},
                             16);
  EXPECT_LT(GrowsMoreThanItShrinks(sizes[0].weight, sizes[1].weight, sizes[2].weight), -kSignificance);
  EXPECT_LT(GrowsMoreThanItShrinks(sizes[0].number, sizes[1].number, sizes[2].number), -kSignificance);
  EXPECT_GT(WelchT(sizes[0].number, sizes[3].number), kSignificance);
}

// Common practice: beyond a middle amplitude at which domains break up, the last stage shows no trace of the middle
// one. The number-average agrees. Found here: the weight-average shows a larger imprint after a stronger middle stage.
TEST(DriveHistory, AStrongMiddleStageIsErasedInTheNumberAverageAlone) {
  const auto after = [](double middle) { return DrivenBed{0.55, 2, {40, middle, 40}, 60, 0.002}; };
  const auto sizes =
      SizesOf({after(40), after(90), after(300), {0.55, 2, {90}, 60, 0.002}, {0.55, 2, {300}, 60, 0.002}}, 16);
  const Sizes &none = sizes[0], &middling = sizes[1], &strong = sizes[2];
  EXPECT_GT(WelchT(sizes[3].number, sizes[4].number), kSignificance);  // domains break up
  EXPECT_GT(WelchT(middling.number, none.number), kSignificance);
  EXPECT_GT(WelchT(middling.number, strong.number), kSignificance);
  EXPECT_NEAR(MeanOf(strong.number).value, MeanOf(none.number).value, 0.2 * MeanOf(none.number).value);
  EXPECT_GT(WelchT(middling.weight, none.weight), kSignificance);
  EXPECT_GT(WelchT(strong.weight, middling.weight), kSignificance);
}

}  // namespace
}  // namespace gyrebox
