/// Comparison of device results with CPU results.
#pragma once

#include <algorithm>
#include <cmath>

#include "runs.h"

namespace gyrebox {

/// Compares positions to 1e-4 sigma, and motions to a fraction of the largest motion (single precision through a stiff
/// force). Valid for runs short enough that rounding differences have not been amplified.
inline void ExpectBeadsOf(const std::vector<kernels::Bead>& found, const std::vector<kernels::Bead>& expected,
                          double fraction = 1e-3) {
  ASSERT_EQ(found.size(), expected.size());
  double speed = 1e-6, spin = 1e-6;
  for (const kernels::Bead& bead : expected) {
    speed = std::max({speed, std::abs(bead.vx), std::abs(bead.vy)});
    spin = std::max(spin, std::abs(bead.spin));
  }
  for (std::size_t i = 0; i < found.size(); ++i) {
    ASSERT_NEAR(found[i].unwrapped_x, expected[i].unwrapped_x, 1e-4) << "bead " << i;
    ASSERT_NEAR(found[i].unwrapped_y, expected[i].unwrapped_y, 1e-4) << "bead " << i;
    ASSERT_NEAR(found[i].vx, expected[i].vx, fraction * speed) << "bead " << i;
    ASSERT_NEAR(found[i].vy, expected[i].vy, fraction * speed) << "bead " << i;
    ASSERT_NEAR(found[i].spin, expected[i].spin, fraction * spin) << "bead " << i;
  }
}

/// Runs all specs in one ensemble of the device and one by one on the CPU, and compares them. @param fraction see
/// ExpectBeadsOf().
inline void ExpectOutcomesOfTheCpu(kernels::Device& device, const std::vector<kernels::RunSpec>& specs,
                                   std::int64_t chunk = 1000, double fraction = 1e-3) {
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  const auto found = Outcomes(device, specs, chunk);
  for (std::size_t i = 0; i < specs.size(); ++i) {
    SCOPED_TRACE(testing::Message() << "run " << i << ", " << specs[i].n_beads << " beads");
    EXPECT_EQ(found[i].last.verdict, kernels::Verdict::kFinished)
        << (found[i].last.fault ? found[i].last.fault->message : std::string("no fault"));
    EXPECT_EQ(found[i].last.step, specs[i].n_steps);
    ASSERT_NO_FATAL_FAILURE(ExpectBeadsOf(found[i].beads, Outcomes(*cpu, {specs[i]}, chunk)[0].beads, fraction));
  }
}

}  // namespace gyrebox
