/// The state of a run as bytes.
#pragma once

#include <cstdint>
#include <string>

namespace gyrebox::store {

/// State of a run.
struct BedBytes {
  std::string bytes;              ///< see kernels::ToBytes()
  double side_x = 0, side_y = 0;  ///< sigma
  int64_t step = 0;
  double time = 0;  ///< tau
};

}  // namespace gyrebox::store
