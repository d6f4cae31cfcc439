/// Where a series stops being shaped by its beginning.
#pragma once

#include <cstddef>
#include <span>

namespace gyrebox::analysis {

/// First sample of the part that holds most independent samples: the t0 with the largest (n - t0) / g(t0), looked for
/// at 32 places at most (J. D. Chodera, J. Chem. Theory Comput. 12, 1799 (2016)). A series of over 512 samples is
/// looked at as the means of neighbours.
size_t TransientEnd(std::span<const double> values);

/// The same by the least marginal standard error.
struct LeastError {
  size_t first = 0;  ///< sample from which on the mean is best known
  double value = 0;  ///< sum of squares about the mean from there on, over the square of the number of samples
};

/// K. P. White, Simulation 69, 323 (1997): the d below n/2 with the least sum over i > d of (x_i - mean)^2 / (n - d)^2.
LeastError LeastMarginalError(std::span<const double> values);

}  // namespace gyrebox::analysis
