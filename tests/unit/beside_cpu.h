/// What a device gave beside what the CPU gives.
#pragma once

#include <algorithm>
#include <cmath>

#include "runs.h"

namespace gyrebox {

/// Places to 1e-4 sigma, and motions to a share of the largest of them: single precision through a stiff force, for
/// runs that are short enough for chance not to matter yet.
inline void ExpectBeadsOf(const std::vector<kernels::Bead>& found, const std::vector<kernels::Bead>& expected,
                          double share = 1e-3) {
  ASSERT_EQ(found.size(), expected.size());
  double speed = 1e-6, spin = 1e-6;
  for (const kernels::Bead& bead : expected) {
    speed = std::max({speed, std::abs(bead.vx), std::abs(bead.vy)});
    spin = std::max(spin, std::abs(bead.spin));
  }
  for (std::size_t i = 0; i < found.size(); ++i) {
    ASSERT_NEAR(found[i].unwrapped_x, expected[i].unwrapped_x, 1e-4) << "bead " << i;
    ASSERT_NEAR(found[i].unwrapped_y, expected[i].unwrapped_y, 1e-4) << "bead " << i;
    ASSERT_NEAR(found[i].vx, expected[i].vx, share * speed) << "bead " << i;
    ASSERT_NEAR(found[i].vy, expected[i].vy, share * speed) << "bead " << i;
    ASSERT_NEAR(found[i].spin, expected[i].spin, share * spin) << "bead " << i;
  }
}

/// Runs them all in one ensemble of the device, and one by one on the CPU. @param share see ExpectBeadsOf().
inline void ExpectOutcomesOfTheCpu(kernels::Device& device, const std::vector<kernels::RunSpec>& specs,
                                   std::int64_t chunk = 1000, double share = 1e-3) {
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  const auto found = Outcomes(device, specs, chunk);
  for (std::size_t i = 0; i < specs.size(); ++i) {
    SCOPED_TRACE(testing::Message() << "run " << i << ", " << specs[i].n_beads << " beads");
    EXPECT_EQ(found[i].last.verdict, kernels::Verdict::kFinished)
        << (found[i].last.fault ? found[i].last.fault->message : std::string("no fault"));
    EXPECT_EQ(found[i].last.step, specs[i].n_steps);
    ASSERT_NO_FATAL_FAILURE(ExpectBeadsOf(found[i].beads, Outcomes(*cpu, {specs[i]}, chunk)[0].beads, share));
  }
}

}  // namespace gyrebox
