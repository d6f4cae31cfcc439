// Driven beds against a second program: written separately, in double precision, from the equations alone, with its own
// lists, solver, generator and initial states. 1536 beads, packing 0.70, kT = 0.002, 120 tau, first-order step of 5e-4;
// means over the last half, with standard deviations over its 8 realizations (6 at A = 8 and at kT = 0).
#include <cstdio>

#include "physics/driven_beds.h"

namespace gyrebox {
namespace {

struct Given {
  double mean, deviation;
};

struct Row {
  DrivenBed bed;
  double starts;     // number of realizations of the second program
  Given columns[4];  // in the order of kColumns
};

const std::vector<std::string> kColumns = {"spinner_weight_average_size", "spinner_number_average_size", "pressure",
                                           "drive_power"};

const Row kRows[] = {
    {{.frequency = 1, .amplitudes = {8}}, 6, {{7.4, 1.2}, {3.32, 0.17}, {2.79, 0.11}, {21.75, 0.10}}},
    {{.frequency = 1, .amplitudes = {20}}, 8, {{32.1, 4.0}, {11.2, 0.9}, {5.06, 0.10}, {153.2, 1.0}}},
    {{.frequency = 1, .amplitudes = {28}}, 8, {{61, 13}, {27.1, 3.3}, {5.42, 0.10}, {315.9, 1.9}}},
    {{.frequency = 1, .amplitudes = {28}, .temperature = 0}, 6, {{64, 9}, {31.2, 4.1}, {5.31, 0.04}, {317.4, 1.8}}},
    {{.frequency = 2, .amplitudes = {40}}, 8, {{57, 9}, {32.0, 1.3}, {5.42, 0.14}, {663, 6}}},
    {{.frequency = 0.5, .amplitudes = {18}}, 8, {{54, 13}, {15.0, 1.2}, {5.29, 0.08}, {125.4, 1.3}}},
    {{.frequency = 0, .amplitudes = {20}}, 8, {{105, 11}, {14.4, 1.6}, {6.10, 0.12}, {321.3, 2.0}}},
};

// Of 28 means, 1.3 are expected to differ by more than two standard errors by chance; more than four do in 1 % of cases
// (binomial, 0.0455 each).
TEST(SecondProgram, HasTheSameSizesPressuresAndPowers) {
  std::vector<DrivenBed> beds;
  for (const Row& row : kRows) beds.push_back(row.bed);
  const auto plateaus = PlateausOf(beds, kColumns);
  int outside = 0;
  for (std::size_t r = 0; r < beds.size(); ++r) {
    for (std::size_t c = 0; c < kColumns.size(); ++c) {
      const Mean ours = MeanOf(plateaus[r][c]);
      const Given& theirs = kRows[r].columns[c];
      const double z =
          (ours.value - theirs.mean) / std::hypot(ours.error, theirs.deviation / std::sqrt(kRows[r].starts));
      std::printf("A %g, f %g, kT %g, %s: %.4g +- %.2g, second program %.4g, %.1f standard errors\n",
                  beds[r].amplitudes[0], beds[r].frequency, beds[r].temperature, kColumns[c].c_str(), ours.value,
                  ours.error, theirs.mean, z);
      outside += std::abs(z) > 2;
      EXPECT_LT(std::abs(z), 4);
    }
  }
  EXPECT_LE(outside, 4);
}

}  // namespace
}  // namespace gyrebox
