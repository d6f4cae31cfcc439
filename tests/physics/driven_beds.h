/// Beds of 1536 beads under a sine drive, several realizations at once, on any device.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/step_choice.h"
#include "physics/means.h"
#include "unit/runs.h"

namespace gyrebox {

/// One bed. Its stages differ in amplitude alone; step order and time step follow the rule unless given.
struct DrivenBed {
  double packing = 0.70;
  double frequency = 1;                   ///< cycles/tau; 0: a steady drive
  std::vector<double> amplitudes = {20};  ///< rad/tau, one per stage
  double stage = 120;                     ///< tau
  double temperature = 0.002;             ///< epsilon
};

inline kernels::RunSpec RunOf(const DrivenBed& bed, std::uint64_t start) {
  using Shape = kernels::WaveSpec::Shape;
  kernels::RunSpec spec;
  spec.n_beads = 1536;
  spec.n_spinners = 461;
  const kernels::Sides sides = kernels::FitSides(spec.start.arrangement, spec.n_beads, bed.packing, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.temperature = bed.temperature;
  spec.drive.wave = {.shape = bed.frequency > 0 ? Shape::kSine : Shape::kSteady,
                     .amplitude = bed.amplitudes[0],
                     .frequency = bed.frequency};
  for (const double amplitude : bed.amplitudes) {
    spec.adjustments.push_back({0, 0, {}, {{kernels::Parameter::kAmplitude, amplitude, false}}});
  }
  const kernels::Peaks peaks = kernels::PeaksOf(spec);
  spec.dynamics.step = kernels::ChooseOrder(spec, peaks, bed.packing);
  const double longest = kernels::ChooseStep(spec, peaks, bed.packing).step;
  // Samples eight phases of a period equally often.
  const double apart = bed.frequency > 0 ? 0.125 / bed.frequency : 0.25;
  spec.measure.interval_steps = static_cast<std::int64_t>(std::ceil(apart / longest * (1 - 1e-9)));
  spec.time_step = apart / static_cast<double>(spec.measure.interval_steps);
  const std::int64_t stage_steps = spec.measure.interval_steps * std::llround(bed.stage / apart);
  spec.n_steps = stage_steps * static_cast<std::int64_t>(bed.amplitudes.size());
  for (std::size_t k = 0; k < spec.adjustments.size(); ++k) {
    spec.adjustments[k].step = stage_steps * static_cast<std::int64_t>(k);
  }
  spec.adjustments.erase(spec.adjustments.begin());  // the run starts with the first stage
  spec.measure.structure_every = 1 << 20;
  spec.seeds = {start, start + 100, 1};
  return spec;
}

/// Means of one column over the last half of the last stage, one per realization.
using OverStarts = std::vector<double>;

/// Column means of each bed. A run that does not finish is a test failure.
inline std::vector<std::vector<OverStarts>> PlateausOf(const std::vector<DrivenBed>& beds,
                                                       const std::vector<std::string>& columns, int starts = 8) {
  std::vector<kernels::RunSpec> specs;
  for (const DrivenBed& bed : beds) {
    for (int start = 1; start <= starts; ++start) specs.push_back(RunOf(bed, static_cast<std::uint64_t>(start)));
  }
  const auto device = TestDevice(0);
  const auto ensemble = device->NewEnsemble(specs);
  const auto runs = ensemble->Advance(std::int64_t{1} << 40);
  std::vector<std::vector<OverStarts>> out;
  for (std::size_t b = 0; b < beds.size(); ++b) {
    out.emplace_back(columns.size());
    for (std::size_t s = 0; s < static_cast<std::size_t>(starts); ++s) {
      const std::size_t run = b * static_cast<std::size_t>(starts) + s;
      EXPECT_EQ(runs[run].verdict, kernels::Verdict::kFinished) << "A = " << beds[b].amplitudes.back();
      const double from =
          static_cast<double>(specs[run].n_steps) * (1 - 0.5 / static_cast<double>(beds[b].amplitudes.size()));
      for (std::size_t c = 0; c < columns.size(); ++c) {
        out[b][c].push_back(MeanFrom(runs[run], from, ValueAt(ensemble->columns(run), columns[c])));
      }
    }
  }
  return out;
}

}  // namespace gyrebox
