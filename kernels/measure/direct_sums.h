/// Plane waves summed bead by bead: exact to rounding, and the quicker way for few beads.
#pragma once

#include <cstdint>
#include <memory>
#include <span>

#include "measure/waves.h"

namespace gyrebox::kernels {

/// Keeps its memory from call to call.
class DirectSums {
 public:
  DirectSums();
  ~DirectSums();

  /// Sets the power of all waves. @param x,y (beads) fixed-point places.
  void Measure(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, Waves& waves);

 private:
  struct Tables;
  std::unique_ptr<Tables> tables_;
};

}  // namespace gyrebox::kernels
