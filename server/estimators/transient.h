/// End of the initial transient of a series.
#pragma once

#include <cstddef>
#include <span>

namespace gyrebox::analysis {

/// First sample of the part with the most independent samples: the t0 that maximises (n - t0) / g(t0), searched at
/// about 32 positions (J. D. Chodera, J. Chem. Theory Comput. 12, 1799 (2016)). A series of over 512 samples is
/// averaged in blocks first.
size_t TransientEnd(std::span<const double> values);

/// End of the transient by the least marginal standard error.
struct LeastError {
  size_t first = 0;  ///< first sample of the part that gives the mean with the least error
  double value = 0;  ///< sum of squares about the mean of that part, over the square of its number of samples
};

/// K. P. White, Simulation 69, 323 (1997): the d below n/2 with the least sum over i > d of (x_i - mean)^2 / (n - d)^2.
LeastError LeastMarginalError(std::span<const double> values);

}  // namespace gyrebox::analysis
