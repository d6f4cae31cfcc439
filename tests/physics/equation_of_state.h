/// Pressure of undriven fluids of WCA beads against known results for hard discs.
#pragma once

#include <Eigen/Dense>

#include "disc_fluid.h"

namespace gyrebox {

/// Expects Z of the runs to equal that of discs. @param tolerance relative difference that counts as equal. The test
/// adds five standard errors (of 8 runs; with zero tolerance the false-positive probability is under 2e-3). @param
/// largest_error maximum relative standard error.
inline void ExpectZ(const DiscFluid& fluid, double z_of_discs, double tolerance, double largest_error) {
  const Mean z = MeanOf(RunsOf(fluid), &DiscFluidRun::z);
  const double expected = z_of_discs - LackOfFiniteBed(fluid.phi, fluid.n_beads);
  EXPECT_LT(z.error, largest_error * expected) << fluid.phi;
  EXPECT_NEAR(z.value, expected, tolerance * expected + 5 * z.error) << fluid.phi;
}

/// Warm beads at a low density, sigma^-2: expects Z = 1 + B2 rho within 0.5 % (exact to first order; a bed of N beads
/// has a fraction 1 - 1/N of the pairs). @param largest_error maximum standard error.
inline void ExpectSecondVirial(double density, int n_beads, double duration, double largest_error) {
  DiscFluid fluid{.temperature = 1, .n_beads = n_beads, .duration = duration, .time_step = 1e-4};
  fluid.phi = density * std::numbers::pi * fluid.diameter() * fluid.diameter() / 4;
  const Mean z = MeanOf(RunsOf(fluid), &DiscFluidRun::z);
  const double expected = 1 + SecondVirialCoefficient(DiscFluid::force(), 1) * density * (1 - 1.0 / n_beads);
  EXPECT_LT(z.error, largest_error) << density;
  EXPECT_NEAR(z.value, expected, 0.005 * expected + 5 * z.error) << density;
}

/// y(r) = g(r) exp(U/kT), which is smooth where g(r) is steep. Fits a parabola to its logarithm outside the reach of
/// the force: the time step, long for the steep force, distorts g(r) within that reach only.
class Cavity {
 public:
  Cavity(const DiscFluid& fluid, const DiscFluidRun& run)
      : force_(DiscFluid::force()), temperature_(fluid.temperature), n_beads_(fluid.n_beads) {
    constexpr std::size_t kFirst = 56, kLast = 69;  // 1.12 to 1.40 sigma
    Eigen::Matrix<double, kLast - kFirst + 1, 3> powers;
    Eigen::Matrix<double, kLast - kFirst + 1, 1> logs;
    for (std::size_t bin = kFirst; bin <= kLast; ++bin) {
      const auto row = static_cast<Eigen::Index>(bin - kFirst);
      const double x = (static_cast<double>(bin) + 0.5) * kWidth - 1.1;
      const double weight = std::sqrt(run.correlation[bin]);  // inverse error of the logarithm
      powers.row(row) << weight, weight * x, weight * x * x;
      logs(row) = weight * std::log(run.correlation[bin]);
    }
    fit_ = powers.colPivHouseholderQr().solve(logs);
  }

  double At(double r) const { return std::exp(fit_(0) + (r - 1.1) * (fit_(1) + (r - 1.1) * fit_(2))); }

  /// Exact for the pair correlation of any beads: Z = 1 + pi rho / (2 kT) times the integral of f g r^2, reduced by 1 -
  /// 1/N for N beads.
  double Z(double density) const {
    const double sum = Integral(1.0, DiscFluid::force().cutoff,
                                [&](double r) { return force_.Force(r) * Boltzmann(r) * At(r) * r * r; });
    return 1 + std::numbers::pi * density * (1 - 1 / n_beads_) / (2 * temperature_) * sum;
  }

 private:
  static constexpr double kWidth = 0.02;  // sigma
  double Boltzmann(double r) const { return std::exp(-force_.Energy(r) / temperature_); }
  template <class F>
  static double Integral(double from, double to, F f) {
    constexpr int kPieces = 400;
    const double h = (to - from) / kPieces;
    double sum = (f(from) + f(to)) / 2;
    for (int k = 1; k < kPieces; ++k) sum += f(from + k * h);
    return sum * h;
  }

  kernels::PairForce<double> force_;
  double temperature_, n_beads_;
  Eigen::Vector3d fit_;
};

/// Compares two observables of the engine with each other and with discs. @param same maximum relative difference of
/// the two values of Z. @param discs maximum relative difference of the contact value from that of discs, (Z - 1)/(2
/// phi) (exact), with Z from the closed form.
inline void ExpectPressureOfCorrelation(const DiscFluid& fluid, double same, double discs) {
  std::vector<double> differences, contacts;
  double z = 0;
  for (const DiscFluidRun& run : RunsOf(fluid)) {
    const Cavity cavity(fluid, run);
    differences.push_back(cavity.Z(fluid.density()) - run.z);
    contacts.push_back(cavity.At(fluid.diameter()));
    z += run.z / fluid.n_starts;
  }
  const Mean difference = MeanOf(differences), contact = MeanOf(contacts);
  const double expected = (ClosedForm(fluid.phi) - 1) / (2 * fluid.phi);
  std::printf("  Z of g(r) less Z of the pressure %.4f +- %.4f; contact value %.4f +- %.4f, of discs %.4f\n",
              difference.value, difference.error, contact.value, contact.error, expected);
  EXPECT_LT(difference.error, same * z);
  EXPECT_NEAR(difference.value, 0, same * z + 5 * difference.error) << fluid.phi;
  EXPECT_LT(contact.error, discs * expected);
  EXPECT_NEAR(contact.value, expected, discs * expected + 5 * contact.error) << fluid.phi;
}

}  // namespace gyrebox
