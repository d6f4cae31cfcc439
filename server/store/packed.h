/// Samples as bytes. Each quantity is packed for itself, so that one can be read without the others, and takes room
/// only for the samples that hold it.
#pragma once

#include <span>
#include <string>
#include <vector>

namespace gyrebox::store {

/// The numbers of one quantity in a row of samples.
struct Block {
  size_t place = 0;
  size_t width = 1;
};

/// Samples as they are stored. Wide quantities lie apart, so that who wants single numbers does not even read them.
struct PackedSamples {
  std::string singles;  ///< single numbers, and where the wide quantities stand in a row
  std::string wide;     ///< quantities of several numbers each
};

/// Packs rows of `width` numbers.
/// @param wide the quantities of several numbers, in their order; every other column is a single number.
PackedSamples Pack(std::span<const double> numbers, size_t width, std::span<const Block> wide);

/// All numbers of packed rows, also of whole rows as earlier versions packed them; what a row does not hold is NaN.
/// Empty where the bytes are damaged.
std::vector<double> Unpack(const PackedSamples& packed, size_t rows);

/// The same for some columns of single numbers, in rows of their own. The wide part is not used.
std::vector<double> UnpackColumns(const PackedSamples& packed, size_t rows, std::span<const size_t> columns);

}  // namespace gyrebox::store
