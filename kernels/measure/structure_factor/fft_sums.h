/// Fourier sums by a fast Fourier transform of the beads spread over a grid: faster for many beads.
#pragma once

#include <cstdint>
#include <memory>
#include <span>

#include "measure/structure_factor/spectral_power.h"

namespace gyrebox::kernels {

/// Reuses its memory between calls.
class FftSums {
 public:
  FftSums();
  ~FftSums();

  /// Sets the power of all waves. The error of an amplitude, the square root of a power, is under 1e-4 of sqrt(N), the
  /// mean for N randomly placed beads. @param x,y (beads) fixed-point positions.
  void Measure(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, SpectralPower& waves);

 private:
  void SpreadOut(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y);

  struct Memory;
  std::unique_ptr<Memory> memory_;
};

}  // namespace gyrebox::kernels
