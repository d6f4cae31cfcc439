/// Energy of undriven beds against the canonical (Boltzmann) average from a separate Monte Carlo program.
#pragma once

#include <algorithm>
#include <cmath>
#include <future>
#include <vector>

#include "gyrebox/step_choice.h"
#include "physics/equilibrium.h"

namespace gyrebox {

/// Numbers of runs, chains and draws.
struct ThermalBudget {
  std::int64_t n_beads = 4096;
  int n_starts = 64;
  int n_chains = 16;
  int n_draws = 50;      ///< per chain, kDrawSweeps apart
  double duration = 10;  ///< of a run, tau; the first quarter is discarded
};
inline constexpr int kMeltSweeps = 3000, kDrawSweeps = 50;

/// Results of the Monte Carlo chains, independent of any run.
struct Canonical {
  double mean = 0;                        ///< energy per bead, epsilon
  double error = 0;                       ///< standard error of the mean, over chains
  double of_bed = 0;                      ///< standard deviation from bed to bed
  std::vector<std::vector<double>> x, y;  ///< initial positions, all chains in turn
};

/// Result of one chain.
struct Chain {
  std::vector<double> energies;           ///< per bead, of each draw
  std::vector<std::vector<double>> x, y;  ///< positions of some draws
};

inline Chain DrawChain(const kernels::RunSpec& spec, const ThermalBudget& budget, std::uint64_t seed) {
  const auto shape =
      kernels::ShapeOfLattice(kernels::StartSpec::Arrangement::kTriangular, spec.n_beads, spec.side_y / spec.side_x);
  // A trial move of about the width of a soft contact is accepted about every other time.
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

/// Defaults of an undriven run: solver and time step follow from its temperature.
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
      kernels::FitSides(kernels::StartSpec::Arrangement::kTriangular, spec.n_beads, packing, std::sqrt(3.0) / 2);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.temperature = temperature;
  TakeDefaults(packing, &spec);
  return spec;
}

struct Thermal {
  double energy = 0;     ///< per bead, mean over runs, epsilon
  double expected = 0;   ///< from the chains
  double tolerance = 0;  ///< 4 standard errors of both, estimated from the chains: a run counts as one independent bed
};

/// Starts runs from beds drawn from the canonical ensemble and returns their mean energy.
inline Thermal EnergyOf(kernels::RunSpec spec, const ThermalBudget& budget) {
  const Canonical canonical = DrawBeds(spec, budget);
  spec.n_steps = std::llround(budget.duration / spec.time_step);
  spec.measure.interval_steps = std::max<std::int64_t>(1, spec.n_steps / 40);
  spec.measure.structure_every = 1 << 20 | 1;
  spec.start.arrangement = kernels::StartSpec::Arrangement::kGiven;
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
