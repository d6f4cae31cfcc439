/// Effective number of independent samples of a correlated series.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Statistical inefficiency g of a stationary series: samples per independent sample, twice the integrated
/// autocorrelation time in samples. At least 1; 1 for independent samples and for a series without spread. Sums the
/// autocorrelation up to a lag of 2.5 g, five integrated times (A. Sokal, in Functional Integration, Plenum 1997,
/// p. 131), and corrects for using the mean of the series itself (U. Wolff, Comput. Phys. Commun. 156, 143 (2004)).
double Inefficiency(std::span<const double> values);

/// One blocking level: means over blocks of consecutive samples.
struct BlockLevel {
  size_t length = 1;              ///< samples in a block
  size_t count = 0;               ///< blocks
  double inefficiency = 0;        ///< length var(block means) / var(samples)
  double standard_error = 0;      ///< of the mean of the series, as if blocks were independent
  double error_of_the_error = 0;  ///< s / sqrt(2 (count - 1))
};

/// Blocking levels with 1, 2, 4, ... samples a block, down to two blocks: H. Flyvbjerg and H. G. Petersen, J. Chem.
/// Phys. 91, 461 (1989). A level drops samples past its last whole block.
std::vector<BlockLevel> BlockLevels(std::span<const double> values);

/// First level with length^3 > 2 samples inefficiency^2: its blocks are long enough to be independent and still
/// numerous enough (R. M. Lee et al., Phys. Rev. E 83, 066706 (2011); from memory). If no level passes, the last one
/// with at least four blocks.
/// @return standard_error 0 for fewer than two samples.
BlockLevel ChooseLevel(std::span<const double> values);

}  // namespace gyrebox::analysis
