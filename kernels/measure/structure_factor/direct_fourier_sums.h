/// Direct Fourier sums, bead by bead: exact to rounding, and faster for few beads.
#pragma once

#include <cstdint>
#include <memory>
#include <span>

#include "measure/structure_factor/spectral_power.h"

namespace gyrebox::kernels {

/// Reuses its memory between calls.
class DirectFourierSums {
 public:
  DirectFourierSums();
  ~DirectFourierSums();

  /// Sets the power of all waves. @param x,y (beads) fixed-point positions.
  void Measure(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, SpectralPower& waves);

 private:
  struct Tables;
  std::unique_ptr<Tables> tables_;
};

}  // namespace gyrebox::kernels
