/// Structure factor of the spinners, and its peak, which gives the spacing of their domains.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/structure_factor/direct_fourier_sums.h"
#include "measure/structure_factor/fft_sums.h"
#include "measure/structure_factor/spectral_power.h"

namespace gyrebox::kernels {

/// S(k) = |sum over beads of exp(i k r)|^2 / beads by shell of wave numbers (see kWaveShells), and its peak. NaN if
/// there are no beads.
struct StructureSummary {
  std::array<double, kWaveShells> shells{};
  double peak = 0;     ///< 1/sigma; by default searched at spacings of two beads and more
  double width = 0;    ///< 1/sigma
  double spacing = 0;  ///< sigma; 2 pi over the peak
};

/// Sums over the waves of each shell: power, and power times |k| L / 2 pi.
struct ShellSums {
  double power[kWaveShells] = {}, power_times_k[kWaveShells] = {};
};
/// Shells searched for the peak, counted from 1; see MeasureSpec.
struct ShellRange {
  int first = 0, last = 0;
};
/// From the shell sums of n_beads beads. Sides in sigma.
StructureSummary StructureOf(const ShellSums& shells, double side_x, double side_y, std::size_t n_beads,
                             const ShellRange& range = {});

/// Measures S(k). Reuses its memory between calls.
class StructureFactor {
 public:
  enum class Route { kDirect, kGrid };
  /// The faster route; depends on the number of beads alone.
  static Route RouteFor(std::size_t n_beads);

  /// @param x,y (beads) fixed-point positions. @param side_x,side_y in sigma.
  StructureSummary Measure(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, double side_x,
                           double side_y, Route route, const ShellRange& range = {});

  /// Result of the last call by wave vector: S times the number of beads.
  const SpectralPower& waves() const { return waves_; }

 private:
  DirectFourierSums direct_;
  FftSums grid_;
  SpectralPower waves_;
};

/// Columns of a StructureSummary.
std::vector<Column> StructureColumns(const ShellRange& range = {});
/// Appends the values in the order of StructureColumns().
void AppendTo(const StructureSummary& summary, std::vector<double>& values);

}  // namespace gyrebox::kernels
