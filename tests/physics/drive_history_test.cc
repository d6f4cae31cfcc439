// What domains remember of an earlier drive, each marked "common practice" and held against independent starts: a
// difference counts as shown where Welch's t passes 3.
#include <cstdio>

#include "physics/driven_beds.h"

namespace gyrebox {
namespace {

constexpr double kSignificance = 3;

/// Sizes of domains by both averages, one a start.
struct Sizes {
  OverStarts number, weight;
};

/// Plateaus of the last stage, printed.
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

/// By how much more, on the log scale, domains grow under a stronger drive than they shrink under one weaker by as
/// much; t of its mean over starts, each of which has all three stages.
double GrowsMoreThanItShrinks(const OverStarts& weaker, const OverStarts& same, const OverStarts& stronger) {
  std::vector<double> more;
  for (std::size_t i = 0; i < same.size(); ++i) {
    more.push_back(std::log(stronger[i] / same[i]) - std::log(same[i] / weaker[i]));
  }
  const Mean mean = MeanOf(more);
  std::printf("  log(growth / shrinkage) %.2f +- %.2g\n", mean.value, mean.error);
  return mean.value / mean.error;
}

// Common practice: it takes a larger change of amplitude to shrink domains by a factor than to grow them. So it is in a
// dense bed: with the drive turned off they keep four fifths of their size.
TEST(DriveHistory, DenseDomainsGrowMoreReadilyThanTheyShrink) {
  const auto sizes =
      SizesOf({{0.70, 1, {20, 0}, 120, 0.002}, {0.70, 1, {20, 20}, 120, 0.002}, {0.70, 1, {20, 40}, 120, 0.002}}, 32);
  EXPECT_GT(GrowsMoreThanItShrinks(sizes[0].weight, sizes[1].weight, sizes[2].weight), kSignificance);
  EXPECT_GT(GrowsMoreThanItShrinks(sizes[0].number, sizes[1].number, sizes[2].number), kSignificance);
}

// Found here: not so in a loose one, whose domains come apart; yet they keep much of their size, too.
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

// Common practice: past a middle amplitude at which domains break up the last stage shows nothing of the middle one. So
// it is by the number-average. Found here: by the weight-average the last stage shows the more of the middle one the
// stronger that was.
TEST(DriveHistory, AStrongMiddleStageIsForgottenByTheNumberAverageAlone) {
  const auto after = [](double middle) { return DrivenBed{0.55, 2, {40, middle, 40}, 60, 0.002}; };
  const auto sizes =
      SizesOf({after(40), after(90), after(300), {0.55, 2, {90}, 60, 0.002}, {0.55, 2, {300}, 60, 0.002}}, 16);
  const Sizes &none = sizes[0], &middling = sizes[1], &strong = sizes[2];
  EXPECT_GT(WelchT(sizes[3].number, sizes[4].number), kSignificance);  // they break up
  EXPECT_GT(WelchT(middling.number, none.number), kSignificance);
  EXPECT_GT(WelchT(middling.number, strong.number), kSignificance);
  EXPECT_NEAR(MeanOf(strong.number).value, MeanOf(none.number).value, 0.2 * MeanOf(none.number).value);
  EXPECT_GT(WelchT(middling.weight, none.weight), kSignificance);
  EXPECT_GT(WelchT(strong.weight, middling.weight), kSignificance);
}

}  // namespace
}  // namespace gyrebox
