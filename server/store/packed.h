/// Numbers as compressed bytes. Most of a series is quantities not measured at that moment, which take no room this
/// way.
#pragma once

#include <span>
#include <string>
#include <vector>

namespace gyrebox::store {

/// Packs numbers: their count as 8 bytes, then a zlib stream (RFC 1950) of their little-endian bytes.
std::string Pack(std::span<const double> numbers);

/// Numbers of packed bytes; empty where they are damaged.
std::vector<double> Unpack(const std::string& bytes);

}  // namespace gyrebox::store
