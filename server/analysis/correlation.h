/// How many independent samples a correlated series is worth.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Statistical inefficiency g of a steady series: the number of samples that are worth one independent one, twice its
/// integrated autocorrelation time in samples; 1 for independent samples and for a series without spread, and never
/// less. Autocorrelations are added up to the first lag of 2.5 g, which is five integrated times (A. Sokal, in
/// Functional Integration, Plenum 1997, p. 131), and corrected for the mean being that of the series itself (U. Wolff,
/// Comput. Phys. Commun. 156, 143 (2004)).
double Inefficiency(std::span<const double> values);

/// One level of blocking: means of blocks of neighbours.
struct BlockLevel {
  size_t length = 1;              ///< samples in a block
  size_t count = 0;               ///< blocks
  double inefficiency = 0;        ///< length var(block means) / var(samples)
  double standard_error = 0;      ///< of the mean of the series, as if blocks were independent
  double error_of_the_error = 0;  ///< s / sqrt(2 (count - 1))
};

/// Levels of blocks of 1, 2, 4, ... samples, down to two blocks: H. Flyvbjerg and H. G. Petersen, J. Chem. Phys. 91,
/// 461 (1989). Samples past the last whole block are left out of a level.
std::vector<BlockLevel> BlockLevels(std::span<const double> values);

/// The first level whose blocks are long enough to be independent and many enough to tell: length^3 over twice the
/// samples times inefficiency^2 (R. M. Lee et al., Phys. Rev. E 83, 066706 (2011); from memory). The last level with at
/// least four blocks where no level is.
/// @return standard_error 0 for fewer than two samples.
BlockLevel ChooseLevel(std::span<const double> values);

}  // namespace gyrebox::analysis
