/// Packed samples. Each quantity is packed separately, so that it can be read without the others and takes space only
/// for the samples that hold it.
#pragma once

#include <span>
#include <string>
#include <vector>

namespace gyrebox::store {

/// Columns of one quantity in a row of samples.
struct Block {
  size_t index = 0;
  size_t width = 1;
};

/// Samples as stored. Wide quantities are separate, so that readers of single numbers need not read them.
struct PackedSamples {
  std::string singles;  ///< single numbers, and the columns of the wide quantities
  std::string wide;     ///< quantities of several numbers each
};

/// Packs rows of `width` numbers.
/// @param wide the quantities with several numbers, in column order; every other column is a single number.
PackedSamples Pack(std::span<const double> numbers, size_t width, std::span<const Block> wide);

/// All numbers of packed rows, including whole rows as packed by earlier versions. Missing quantities are NaN. Empty if
/// the bytes are damaged.
std::vector<double> Unpack(const PackedSamples& packed, size_t rows);

/// Unpacks the given columns of single numbers only, as rows of columns.size() numbers. Does not use the wide part.
std::vector<double> UnpackColumns(const PackedSamples& packed, size_t rows, std::span<const size_t> columns);

}  // namespace gyrebox::store
