/// Undriven beds at equilibrium: means over independent realizations.
#pragma once

#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "gyrebox/device.h"
#include "physics/means.h"
#include "physics/metropolis.h"
#include "start/start.h"
#include "unit/runs.h"

namespace gyrebox {

/// Size and length of the runs.
struct Budget {
  std::int64_t n_beads = 1024;
  int n_starts = 8;
  std::int64_t n_steps = 100000;
};

/// A bed without spinners at a number density, sigma^-2.
inline kernels::RunSpec UndrivenBed(const Budget& budget, double density) {
  kernels::RunSpec spec;
  spec.n_beads = budget.n_beads;
  const kernels::Sides sides =
      kernels::FitSides(spec.start.arrangement, spec.n_beads, density * std::numbers::pi / 4, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.n_steps = budget.n_steps;
  spec.measure.interval_steps = 200;
  spec.measure.structure_every = 1;
  return spec;
}

/// Means of columns over the last three quarters of a run, over realizations; one Mean per requested value. @param
/// wanted column names, with suffix [k] for value k of a wide column.
inline std::vector<Mean> Measured(kernels::RunSpec spec, int n_starts,
                                  const std::vector<std::pair<std::string, std::size_t>>& wanted) {
  // A separate Monte Carlo program draws the initial states at equilibrium: random beads that were pushed apart relax
  // slowly, and more slowly with stronger friction.
  spec.start.arrangement = kernels::StartSpec::Arrangement::kGiven;
  spec.start.given_spinner.assign(static_cast<std::size_t>(spec.n_beads), 0);
  const auto shape =
      kernels::ShapeOfLattice(kernels::StartSpec::Arrangement::kTriangular, spec.n_beads, spec.side_y / spec.side_x);
  Metropolis chain(spec.force, spec.temperature, spec.side_x, spec.side_y, static_cast<int>(spec.n_beads),
                   static_cast<int>(shape.rows), 0.1, 1);
  chain.Sweeps(2000);
  std::vector<kernels::RunSpec> specs;
  for (int start = 1; start <= n_starts; ++start) {
    chain.Sweeps(200);
    spec.start.given_x = chain.x();
    spec.start.given_y = chain.y();
    spec.seeds.noise = static_cast<std::uint64_t>(start);
    specs.push_back(spec);
  }
  const auto device = TestDevice(0);
  const auto ensemble = device->NewEnsemble(specs);
  const auto chunks = ensemble->Advance(spec.n_steps);
  std::vector<Mean> means;
  for (const auto& [name, k] : wanted) {
    const std::size_t at = ValueAt(ensemble->columns(0), name) + k;
    means.push_back(MeanOf(MeansOfRuns(chunks, spec.n_steps, at)));
  }
  return means;
}

/// Static quantities, which must not depend on friction: pressure, local bond order, and g(r) through its first peak.
inline std::vector<std::pair<std::string, std::size_t>> StaticQuantities() {
  std::vector<std::pair<std::string, std::size_t>> out = {{"pressure", 0}, {"bond_order_local", 0}};
  for (std::size_t bin = 46; bin <= 66; bin += 4) out.push_back({"passive_passive_correlation", bin});
  return out;
}

/// A warm dense bed under default repulsion; means from two time steps, extrapolated to zero.
inline std::vector<Mean> StaticsAt(const Budget& budget, kernels::DynamicsSpec dynamics, double friction,
                                   double temperature, double time_step) {
  std::vector<Mean> two[2];
  for (int half = 0; half < 2; ++half) {
    Budget scaled = budget;
    scaled.n_steps = budget.n_steps << half;
    kernels::RunSpec spec = UndrivenBed(scaled, 0.70);
    spec.friction = {friction, friction, 1.3, 1};
    spec.dynamics = dynamics;
    spec.temperature = temperature;
    spec.time_step = time_step / (1 << half);
    spec.health.largest_move = 0.15;
    two[half] = Measured(spec, budget.n_starts, StaticQuantities());
  }
  std::vector<Mean> out;
  for (std::size_t k = 0; k < two[0].size(); ++k) {
    out.push_back({2 * two[1][k].value - two[0][k].value, std::hypot(2 * two[1][k].error, two[0][k].error)});
  }
  return out;
}

/// Largest difference between two sets of means, in standard errors.
inline double LargestDeviation(const std::vector<Mean>& a, const std::vector<Mean>& b) {
  double largest = 0;
  for (std::size_t k = 0; k < a.size(); ++k) {
    const double deviation = std::abs(a[k].value - b[k].value) / std::hypot(a[k].error, b[k].error);
    largest = std::max(largest, deviation);
  }
  return largest;
}

}  // namespace gyrebox
