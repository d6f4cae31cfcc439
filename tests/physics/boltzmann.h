/// The energy of undriven beds against that of the canonical average (Boltzmann), drawn by a separate Monte Carlo.
#pragma once

#include <algorithm>
#include <cmath>
#include <future>
#include <vector>

#include "gyrebox/step_choice.h"
#include "physics/equilibrium.h"

namespace gyrebox {

/// How much is run, and drawn.
struct ThermalBudget {
  std::int64_t n_beads = 4096;
  int n_starts = 64;
  int n_chains = 16;
  int n_draws = 50;      ///< of each chain, kDrawSweeps apart
  double duration = 10;  ///< of a run, tau; its first quarter does not count
};
inline constexpr int kMeltSweeps = 3000, kDrawSweeps = 50;

/// What chains say of beds: independent of any run.
struct Canonical {
  double mean = 0;                        ///< energy a bead, epsilon
  double error = 0;                       ///< standard error of it, over chains
  double of_bed = 0;                      ///< standard deviation from bed to bed
  std::vector<std::vector<double>> x, y;  ///< places of starts, one after another from all chains
};

/// What one chain draws.
struct Chain {
  std::vector<double> energies;           ///< a bead, of each draw
  std::vector<std::vector<double>> x, y;  ///< places of some
};

inline Chain DrawChain(const kernels::RunSpec& spec, const ThermalBudget& budget, std::uint64_t seed) {
  const auto shape =
      kernels::ShapeOfLattice(kernels::StartSpec::Places::kTriangular, spec.n_beads, spec.side_y / spec.side_x);
  // A move about as long as a soft contact is wide is taken about every other time.
  const double move = std::clamp(0.3 * std::sqrt(spec.temperature), 0.03, 0.2);
  Metropolis chain(spec.force, spec.temperature, spec.side_x, spec.side_y, static_cast<int>(spec.n_beads),
                   static_cast<int>(shape.rows), move, seed);
  chain.Sweeps(kMeltSweeps);
  Chain out;
  for (int draw = 0; draw < budget.n_draws; ++draw) {
    chain.Sweeps(kDrawSweeps);
    out.energies.push_back(chain.EnergyPerBead());
    if (draw % 4 != 3) continue;
    out.x.push_back(chain.x());
    out.y.push_back(chain.y());
  }
  return out;
}

inline Canonical DrawBeds(const kernels::RunSpec& spec, const ThermalBudget& budget) {
  std::vector<std::future<Chain>> chains;
  for (int c = 0; c < budget.n_chains; ++c) {
    chains.push_back(std::async(std::launch::async, DrawChain, spec, budget, static_cast<std::uint64_t>(c) + 1));
  }
  Canonical out;
  std::vector<double> means, all;
  for (auto& future : chains) {
    Chain chain = future.get();
    means.push_back(MeanOf(chain.energies).value);
    all.insert(all.end(), chain.energies.begin(), chain.energies.end());
    for (std::size_t draw = 0; draw < chain.x.size() && static_cast<int>(out.x.size()) < budget.n_starts; ++draw) {
      out.x.push_back(std::move(chain.x[draw]));
      out.y.push_back(std::move(chain.y[draw]));
    }
  }
  const Mean mean = MeanOf(means), of_all = MeanOf(all);
  out.mean = mean.value;
  out.error = mean.error;
  out.of_bed = of_all.error * std::sqrt(static_cast<double>(all.size()));
  return out;
}

/// The default of a run that nothing drives: solver and step follow from its temperature.
inline void TakeDefaults(double packing, kernels::RunSpec* spec) {
  const kernels::Peaks peaks = kernels::PeaksOf(*spec);
  spec->dynamics.equation = kernels::MayBeLagged(*spec, peaks) ? kernels::DynamicsSpec::Equation::kLagged
                                                               : kernels::DynamicsSpec::Equation::kConverged;
  spec->time_step = kernels::ChooseStep(*spec, peaks, packing).step;
}

inline kernels::RunSpec ThermalBed(const ThermalBudget& budget, double packing, double temperature) {
  kernels::RunSpec spec;
  spec.n_beads = budget.n_beads;
  const kernels::Sides sides =
      kernels::FitSides(kernels::StartSpec::Places::kTriangular, spec.n_beads, packing, std::sqrt(3.0) / 2);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.temperature = temperature;
  TakeDefaults(packing, &spec);
  return spec;
}

struct Thermal {
  double energy = 0;     ///< a bead, mean over runs, epsilon
  double expected = 0;   ///< by the chains
  double tolerance = 0;  ///< 4 standard errors of both as the chains give them: a run counts as one independent bed
};

/// Runs from beds of the canonical average.
inline Thermal EnergyOf(kernels::RunSpec spec, const ThermalBudget& budget) {
  const Canonical canonical = DrawBeds(spec, budget);
  spec.n_steps = std::llround(budget.duration / spec.time_step);
  spec.measure.interval_steps = std::max<std::int64_t>(1, spec.n_steps / 40);
  spec.measure.structure_every = 1 << 20 | 1;
  spec.start.places = kernels::StartSpec::Places::kGiven;
  spec.start.given_spinner.assign(static_cast<std::size_t>(spec.n_beads), 0);
  std::vector<kernels::RunSpec> specs;
  for (std::size_t start = 0; start < canonical.x.size(); ++start) {
    spec.start.given_x = canonical.x[start];
    spec.start.given_y = canonical.y[start];
    spec.seeds.noise = start + 1;
    specs.push_back(spec);
  }
  const auto device = TestDevice(0);
  const auto ensemble = device->NewEnsemble(specs);
  const auto chunks = ensemble->Advance(spec.n_steps);
  const std::size_t at = ValueAt(ensemble->columns(0), "potential_energy");
  const auto starts = MeansOfRuns(chunks, spec.n_steps, at);
  const double error_of_runs = canonical.of_bed / std::sqrt(static_cast<double>(starts.size()));
  return {MeanOf(starts).value, canonical.mean, 4 * std::hypot(error_of_runs, canonical.error)};
}

}  // namespace gyrebox
