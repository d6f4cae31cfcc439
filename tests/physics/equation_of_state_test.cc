// Pressure of WCA beads against that of hard discs. Packing fractions are those of the equivalent discs; the nominal
// ones are printed next to them.
#include "equation_of_state.h"

namespace gyrebox {
namespace {

TEST(EquationOfState, OfColdBeadsIsTheVirialSeriesOfDiscs) {
  for (const auto& [phi, n_beads, duration] :
       {std::tuple{0.05, 256, 450.0}, {0.1, 1024, 180.0}, {0.2, 1024, 100.0}, {0.3, 1024, 60.0}}) {
    const DiscFluid fluid{.phi = phi, .n_beads = n_beads, .n_starts = 16, .duration = duration, .time_step = 4e-4};
    ExpectZ(fluid, VirialSeries(phi), 0.003, 0.003);
  }
}

TEST(EquationOfState, OfWarmBeadsIsTheVirialSeriesOfDiscsWhereTheyAreDilute) {
  for (const auto& [phi, duration] : {std::pair{0.05, 5.0}, {0.1, 2.5}, {0.2, 1.0}, {0.3, 1.0}}) {
    const DiscFluid fluid{.temperature = 1, .phi = phi, .n_starts = 16, .duration = duration, .time_step = 1e-4};
    ExpectZ(fluid, VirialSeries(phi), 0.01, 0.003);
  }
}

// Erpenbeck & Luginbuhl, Phys. Rev. A 32, 2920 (1985), tabulated by area over close-packed area; from memory.
TEST(EquationOfState, OfColdBeadsIsThatOfDenseDiscs) {
  for (const auto& [area, z] : {std::pair{2.0, 3.4243}, {1.8, 4.1715}, {1.6, 5.4963}, {1.5, 6.6074}, {1.4, 8.306}}) {
    const DiscFluid fluid{.phi = std::numbers::pi / (2 * std::numbers::sqrt3) / area, .n_starts = 16};
    ExpectZ(fluid, z, 0.01, 0.005);
  }
}

// Computed separately by another Monte Carlo program, with an error of about 0.1 %: at high density soft beads do not
// behave as hard discs.
TEST(EquationOfState, OfWarmDenseBeadsIsNotThatOfDiscs) {
  const DiscFluid fluid{
      .temperature = 1, .phi = 0.56681, .n_starts = 16, .duration = 0.5, .time_step = 2.5e-5, .melting_sweeps = 8000};
  const Mean z = MeanOf(RunsOf(fluid), &DiscFluidRun::z);
  EXPECT_NEAR(z.value, 5.325, 0.0075 * 5.325 + 5 * z.error);
  EXPECT_LT(z.value, 5.4963 - 5 * z.error);
}

TEST(EquationOfState, OfADiluteBedHasTheSecondVirialCoefficient) {
  for (const auto& [density, duration] : {std::pair{0.02, 12.0}, {0.035, 8.0}, {0.05, 5.0}}) {
    ExpectSecondVirial(density, 1024, duration, 0.0015);
  }
}

TEST(EquationOfState, FollowsFromThePairCorrelation) {
  for (const double phi : {0.3, 0.5}) {
    const DiscFluid fluid{.phi = phi, .n_starts = 16, .duration = 40, .with_correlation = true};
    ExpectPressureOfCorrelation(fluid, 0.005, 0.01);
  }
}

}  // namespace
}  // namespace gyrebox
