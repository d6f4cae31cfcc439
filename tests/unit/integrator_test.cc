// Identifies the integrator by the thermal energy of a crystal of springs at a finite step.
#include <gtest/gtest.h>

#include <cmath>

#include "beds.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::DynamicsSpec;
using kernels::RunSpec;
using kernels::StartSpec;

// 16 beads in a triangular crystal of springs that stay within reach: at low temperature every mode is harmonic.
RunSpec SpringCrystal(DynamicsSpec::Equation equation, double time_step) {
  RunSpec spec;
  spec.n_beads = 16;
  spec.start.arrangement = StartSpec::Arrangement::kTriangular;
  const kernels::Sides sides = kernels::FitSides(spec.start.arrangement, 16, 0.70, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.force = {kernels::ForceSpec::Law::kHarmonic, 10, 0.05, 1.5};
  spec.friction = {0, 0, 1.3, 1};
  spec.temperature = 1e-5;
  spec.time_step = time_step;
  spec.n_steps = 1 << 30;
  spec.measure.interval_steps = 1 << 30;
  spec.dynamics.equation = equation;
  spec.dynamics.tolerance = 1e-6;
  return spec;
}

double EnergyOf(const RunSpec& spec, const std::vector<reference::Bead>& beads) {
  double energy = 0;
  for (std::size_t i = 0; i < beads.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      const double dx = std::remainder(beads[i].x - beads[j].x, spec.side_x);
      const double dy = std::remainder(beads[i].y - beads[j].y, spec.side_y);
      energy += reference::PairEnergy(spec.force, std::hypot(dx, dy));
    }
  }
  return energy;
}

// Stiffness of every mode, from finite differences of the energy.
Eigen::VectorXd Stiffnesses(const RunSpec& spec, const std::vector<reference::Bead>& rest) {
  const Eigen::Index n = 2 * static_cast<Eigen::Index>(rest.size());
  const double h = 1e-4;
  const auto energy = [&](Eigen::Index a, double da, Eigen::Index b, double db) {
    auto beads = rest;
    for (const auto& [row, d] : {std::pair{a, da}, std::pair{b, db}}) {
      (row % 2 == 0 ? beads[row / 2].x : beads[row / 2].y) += d;
    }
    return EnergyOf(spec, beads);
  };
  Eigen::MatrixXd hessian(n, n);
  for (Eigen::Index a = 0; a < n; ++a) {
    for (Eigen::Index b = 0; b < n; ++b) {
      hessian(a, b) =
          (energy(a, h, b, h) - energy(a, h, b, -h) - energy(a, -h, b, h) + energy(a, -h, b, -h)) / (4 * h * h);
    }
  }
  return Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>((hessian + hessian.transpose()) / 2).eigenvalues();
}

struct Measured {
  double mean, error;
};

// Mean energy above the minimum, and its standard error from blocks.
Measured ThermalEnergy(const RunSpec& spec, double rest) {
  const auto device = TestDevice(1);
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  ensemble->Advance(20000);
  constexpr int kBlocks = 40, kSamples = 500;
  double sum = 0, squares = 0;
  for (int block = 0; block < kBlocks; ++block) {
    double mean = 0;
    for (int k = 0; k < kSamples; ++k) {
      ensemble->Advance(20);
      std::vector<reference::Bead> beads;
      for (const auto& bead : ensemble->Beads(0)) beads.push_back({bead.x, bead.y, bead.spinner});
      mean += (EnergyOf(spec, beads) - rest) / kSamples;
    }
    sum += mean;
    squares += mean * mean;
  }
  const double mean = sum / kBlocks;
  return {mean, std::sqrt((squares / kBlocks - mean * mean) / (kBlocks - 1))};
}

// Exact: with a = k dt / zeta, the step multiplies the energy kT/2 of a mode of stiffness k and drag zeta by this
// factor. Midpoint step, Euler-Maruyama, and the two-step method with noise of weight one.
double BiasOf(const DynamicsSpec& dynamics, double a) {
  if (dynamics.equation == DynamicsSpec::Equation::kConverged) return (1 - a / 2) / (1 - a / 2 + a * a / 4);
  if (dynamics.step == DynamicsSpec::Step::kFirstOrder) return 1 / (1 - a / 2);
  return (1 - a / 2) / ((1 + a / 2) * (1 - a));
}

// 4 standard errors; a is up to about 0.7.
TEST(Integrator, ThermalEnergyOfACrystalHasTheExactBiasOfItsStep) {
  using Equation = DynamicsSpec::Equation;
  using Step = DynamicsSpec::Step;
  for (const auto& [equation, step] : {std::pair{Equation::kBrownian, Step::kFirstOrder},
                                       {Equation::kBrownian, Step::kSecondOrder},
                                       {Equation::kConverged, Step::kSecondOrder}}) {
    RunSpec spec = SpringCrystal(equation, 0.01);
    spec.dynamics.step = step;
    const auto rest = BeadsOf(spec, kernels::GenerateInitialState(spec));
    double expected = 0, unbiased = 0;
    for (const double stiffness : Stiffnesses(spec, rest)) {
      if (stiffness < 1e-3) continue;  // centre-of-mass modes
      expected += spec.temperature / 2 * BiasOf(spec.dynamics, stiffness * spec.time_step);
      unbiased += spec.temperature / 2;
    }
    const Measured measured = ThermalEnergy(spec, EnergyOf(spec, rest));
    EXPECT_NEAR(measured.mean, expected, 4 * measured.error);
    EXPECT_LT(measured.error, 0.01 * expected);
    if (equation == Equation::kBrownian) {
      EXPECT_GT(std::abs(measured.mean - unbiased), 4 * measured.error);
    }
  }
}

}  // namespace
}  // namespace gyrebox
