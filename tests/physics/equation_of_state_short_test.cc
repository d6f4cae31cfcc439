// Short versions of the slow tests of the equation of state: the same statistics, wider bounds.
#include "equation_of_state.h"

namespace gyrebox {
namespace {

TEST(EquationOfState, OfColdBeadsIsTheVirialSeriesOfDiscs) {
  const DiscFluid fluid{.phi = 0.3, .n_beads = 256, .duration = 30, .time_step = 4e-4, .melting_sweeps = 1000};
  ExpectZ(fluid, VirialSeries(0.3), 0.01, 0.02);
}

// Erpenbeck & Luginbuhl, Phys. Rev. A 32, 2920 (1985); from memory.
TEST(EquationOfState, OfColdBeadsIsThatOfDenseDiscs) {
  const DiscFluid fluid{.phi = 0.56681, .n_beads = 256, .time_step = 4e-4, .melting_sweeps = 2000};
  ExpectZ(fluid, 5.4963, 0.01, 0.02);
}

TEST(EquationOfState, OfADiluteBedHasTheSecondVirialCoefficient) { ExpectSecondVirial(0.05, 256, 4, 0.004); }

TEST(EquationOfState, FollowsFromThePairCorrelation) {
  const DiscFluid fluid{.phi = 0.5, .n_beads = 256, .time_step = 4e-4, .with_correlation = true};
  ExpectPressureOfCorrelation(fluid, 0.01, 0.02);
}

}  // namespace
}  // namespace gyrebox
