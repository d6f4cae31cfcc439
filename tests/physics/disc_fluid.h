/// Undriven fluids of WCA beads in the engine, compared with hard discs.
#pragma once

#include <array>
#include <cstdio>
#include <vector>

#include "equilibrium.h"
#include "hard_discs.h"
#include "metropolis.h"
#include "start/start.h"
#include "unit/test_device.h"

namespace gyrebox {

/// One fluid, its size and run length.
struct DiscFluid {
  double temperature = 0.01;  ///< epsilon
  double phi = 0.3;           ///< packing fraction of the equivalent hard discs
  int n_beads = 1024;
  int n_starts = 8;
  double duration = 20;  ///< tau
  /// tau. The plain step keeps the mean pressure on a wall exact at any step length; 4e-4, 2e-4 and 1e-4 gave cold
  /// beads the same Z at phi = 0.567 within 0.4 %.
  double time_step = 2e-4;
  int melting_sweeps = 4000;      ///< Monte Carlo sweeps before the first initial state
  int sweeps_between = 500;       ///< between successive initial states
  bool with_correlation = false;  ///< also measure g(r), which is slow

  static kernels::ForceSpec force() { return {kernels::ForceSpec::Law::kWca, 1, 1, 1.122462048309373}; }
  double diameter() const { return DiscDiameter(force(), temperature); }                     ///< sigma
  double density() const { return 4 * phi / (std::numbers::pi * diameter() * diameter()); }  ///< sigma^-2
  double nominal_phi() const { return density() * std::numbers::pi / 4; }  ///< of discs of diameter sigma
  /// Gap between neighbours of a triangular crystal at this density, sigma.
  double gap() const { return (std::sqrt(std::numbers::pi / (2 * std::numbers::sqrt3 * phi)) - 1) * diameter(); }
};

inline constexpr std::size_t kCorrelationBins = 80;

/// Measurement of one run; Z = p/(rho kT).
struct DiscFluidRun {
  double first_z = 0;                                  ///< of the initial state
  double z = 0;                                        ///< mean over the last three quarters of the run
  double moved = 0;                                    ///< mean square displacement over the run, in units of gap^2
  std::array<double, kCorrelationBins> correlation{};  ///< g(r) by bin, averaged over the same time as z
};

/// Runs from independent initial states: widely separated states of one equilibrium Monte Carlo chain.
inline std::vector<kernels::RunSpec> SpecsOf(const DiscFluid& fluid) {
  constexpr auto kCrystal = kernels::StartSpec::Arrangement::kTriangular;
  constexpr int kNever = (1 << 30) + 1;
  kernels::RunSpec spec;
  spec.n_beads = fluid.n_beads;
  const kernels::Sides sides = kernels::FitSides(kCrystal, fluid.n_beads, fluid.nominal_phi(), 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.force = DiscFluid::force();
  spec.friction = {0, 0, 1.2, 1};
  spec.temperature = fluid.temperature;
  spec.time_step = fluid.time_step;
  spec.n_steps = std::llround(fluid.duration / fluid.time_step);
  spec.dynamics.equation = kernels::DynamicsSpec::Equation::kBrownian;
  spec.measure.interval_steps = 40;
  spec.measure.structure_every = fluid.with_correlation ? 25 : kNever;
  spec.health.largest_move = 0.15;
  spec.start.arrangement = kernels::StartSpec::Arrangement::kGiven;
  spec.start.given_spinner.assign(static_cast<std::size_t>(fluid.n_beads), 0);
  const auto shape = kernels::ShapeOfLattice(kCrystal, fluid.n_beads, sides.y / sides.x);
  Metropolis chain(spec.force, fluid.temperature, sides.x, sides.y, fluid.n_beads, static_cast<int>(shape.rows),
                   0.7 * fluid.gap(), 1);
  chain.Sweeps(fluid.melting_sweeps);
  std::vector<kernels::RunSpec> specs;
  for (int start = 1; start <= fluid.n_starts; ++start) {
    chain.Sweeps(fluid.sweeps_between);
    spec.start.given_x = chain.x();
    spec.start.given_y = chain.y();
    spec.seeds.noise = static_cast<std::uint64_t>(start);
    specs.push_back(spec);
  }
  return specs;
}

inline Mean MeanOf(const std::vector<DiscFluidRun>& runs, double DiscFluidRun::*value) {
  std::vector<double> values;
  for (const DiscFluidRun& run : runs) values.push_back(run.*value);
  return MeanOf(values);
}

/// Runs the fluid in the engine. Expects beads to have moved away from their initial positions, so that the run samples
/// new configurations.
inline std::vector<DiscFluidRun> RunsOf(const DiscFluid& fluid) {
  const std::vector<kernels::RunSpec> specs = SpecsOf(fluid);
  const auto device = TestDevice(1);  // tests run in parallel
  const auto ensemble = device->NewEnsemble(specs);
  const std::size_t pressure = ValueAt(ensemble->columns(0), "pressure");
  const std::size_t displacement = ValueAt(ensemble->columns(0), "msd_passive");
  const std::size_t correlation = ValueAt(ensemble->columns(0), "passive_passive_correlation");
  std::vector<DiscFluidRun> runs(specs.size());
  std::vector<double> n_samples(specs.size()), n_correlations(specs.size());
  const std::int64_t n_steps = specs[0].n_steps, chunk = 4000;
  const double ideal = fluid.density() * fluid.temperature, gap_squared = fluid.gap() * fluid.gap();
  for (std::int64_t taken = 0; taken <= n_steps; taken += chunk) {
    const auto chunks = ensemble->Advance(chunk);
    for (std::size_t i = 0; i < runs.size(); ++i) {
      EXPECT_FALSE(chunks[i].fault) << chunks[i].fault->message;
      for (const auto& sample : chunks[i].samples) {
        const double z = sample.values[pressure] / ideal;
        if (sample.step == 0) runs[i].first_z = z;
        if (4 * sample.step < n_steps) continue;
        runs[i].z += z;
        ++n_samples[i];
        runs[i].moved = sample.values[displacement] / gap_squared;
        if (std::isnan(sample.values[correlation])) continue;
        ++n_correlations[i];
        for (std::size_t bin = 0; bin < kCorrelationBins; ++bin) {
          runs[i].correlation[bin] += sample.values[correlation + bin];
        }
      }
    }
  }
  for (std::size_t i = 0; i < runs.size(); ++i) {
    runs[i].z /= n_samples[i];
    for (double& g : runs[i].correlation) g /= n_correlations[i];
  }
  const Mean z = MeanOf(runs, &DiscFluidRun::z), first = MeanOf(runs, &DiscFluidRun::first_z);
  const double moved = MeanOf(runs, &DiscFluidRun::moved).value;
  std::printf("  phi %.5f, nominal %.5f, kT %g: Z %.4f +- %.4f; as drawn %.4f +- %.4f; moved %.2f gaps squared\n",
              fluid.phi, fluid.nominal_phi(), fluid.temperature, z.value, z.error, first.value, first.error, moved);
  EXPECT_GT(moved, 1);
  return runs;
}

}  // namespace gyrebox
