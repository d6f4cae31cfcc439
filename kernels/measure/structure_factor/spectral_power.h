/// The wave vectors of the periodic bed that are measured, and the spectral power of a set of beads at each of them.
#pragma once

#include <cstddef>
#include <vector>

#include "model/real.h"

namespace gyrebox::kernels {

/// Shells of wave numbers. With L the longer side, shell j = 1, 2, ... holds every k with |k| L / 2 pi from j - 1/2 up
/// to j + 1/2.
inline constexpr int kWaveShells = 64;

/// The wave vectors k = 2 pi (n/side_x, m/side_y) within the shells.
struct WaveGrid {
  double scale_x = 1, scale_y = 1;  ///< the longer side over side_x, over side_y
  int reach_x = 0, reach_y = 0;     ///< largest |n|, largest |m|

  /// Sides in sigma.
  GYREBOX_HD WaveGrid(double side_x, double side_y) {
    const double longer = side_x > side_y ? side_x : side_y;
    scale_x = longer / side_x;
    scale_y = longer / side_y;
    reach_x = static_cast<int>(kLimit / scale_x);
    reach_y = static_cast<int>(kLimit / scale_y);
  }
  WaveGrid() = default;

  /// |k| L / 2 pi.
  GYREBOX_HD double Magnitude(int n, int m) const {
    return Sqrt(n * scale_x * (n * scale_x) + m * scale_y * (m * scale_y));
  }
  /// Largest |m| within the shells for an n >= 0.
  GYREBOX_HD int ReachBeside(int n) const {
    const double left = kLimit * kLimit - n * scale_x * (n * scale_x);
    return left <= 0 ? 0 : static_cast<int>(Sqrt(left) / scale_y);
  }
  /// Index, from 0, of the shell of a magnitude.
  GYREBOX_HD static int ShellOf(double magnitude) {
    const int shell = static_cast<int>(magnitude + 0.5) - 1;
    return shell < 0 ? 0 : (shell < kWaveShells ? shell : kWaveShells - 1);
  }

  static constexpr double kLimit = kWaveShells + 0.5;
};

/// |sum over beads of exp(i k r)|^2 at each wave vector.
struct SpectralPower : WaveGrid {
  std::vector<double> power;  ///< by n = 0 .. reach_x, then by m = -reach_y .. reach_y

  /// Sets the wave vectors of a bed but not their power. Sides in sigma.
  void SetSides(double side_x, double side_y) {
    static_cast<WaveGrid&>(*this) = WaveGrid(side_x, side_y);
    power.resize(static_cast<std::size_t>((reach_x + 1) * (2 * reach_y + 1)));
  }

  /// @param n from 0 to reach_x. @param m from -ReachBeside(n) to ReachBeside(n).
  double& At(int n, int m) { return power[static_cast<std::size_t>(n * (2 * reach_y + 1) + m + reach_y)]; }
  double At(int n, int m) const { return power[static_cast<std::size_t>(n * (2 * reach_y + 1) + m + reach_y)]; }
};

}  // namespace gyrebox::kernels
