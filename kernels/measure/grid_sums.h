/// Plane waves summed by a Fourier transform of the beads spread over a grid: the quicker way for many beads.
#pragma once

#include <cstdint>
#include <memory>
#include <span>

#include "measure/waves.h"

namespace gyrebox::kernels {

/// Keeps its memory from call to call.
class GridSums {
 public:
  GridSums();
  ~GridSums();

  /// Sets the power of all waves. Amplitudes, their square roots, are off by under 1e-4 of what N beads anywhere have
  /// on average, sqrt(N). @param x,y (beads) fixed-point places.
  void Measure(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, Waves& waves);

 private:
  void SpreadOut(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y);

  struct Memory;
  std::unique_ptr<Memory> memory_;
};

}  // namespace gyrebox::kernels
