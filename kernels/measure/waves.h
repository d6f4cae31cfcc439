/// Which plane waves of the periodic bed are looked at, and the power of a set of beads in each of them.
#pragma once

#include <cmath>
#include <cstddef>
#include <vector>

namespace gyrebox::kernels {

/// Shells of wave numbers. With L the longer side, shell j = 1, 2, ... holds every k with |k| L / 2 pi from j - 1/2 up
/// to j + 1/2.
inline constexpr int kWaveShells = 64;

/// The wave vectors k = 2 pi (n/side_x, m/side_y) within the shells, and |sum over beads of exp(i k r)|^2 at each.
struct Waves {
  double scale_x = 1, scale_y = 1;  ///< the longer side over side_x, over side_y
  int reach_x = 0, reach_y = 0;     ///< largest |n|, largest |m|
  std::vector<double> power;        ///< by n = 0 .. reach_x, then by m = -reach_y .. reach_y

  /// Sets the wave vectors of a bed; their power is not set. Sides in sigma.
  void SetSides(double side_x, double side_y) {
    const double longer = side_x > side_y ? side_x : side_y;
    scale_x = longer / side_x;
    scale_y = longer / side_y;
    reach_x = static_cast<int>(kLimit / scale_x);
    reach_y = static_cast<int>(kLimit / scale_y);
    power.resize(static_cast<std::size_t>((reach_x + 1) * (2 * reach_y + 1)));
  }

  /// |k| L / 2 pi.
  double Magnitude(int n, int m) const { return std::sqrt(n * scale_x * (n * scale_x) + m * scale_y * (m * scale_y)); }
  /// Largest |m| that is looked at beside n >= 0.
  int ReachBeside(int n) const {
    const double left = kLimit * kLimit - n * scale_x * (n * scale_x);
    return left <= 0 ? 0 : static_cast<int>(std::sqrt(left) / scale_y);
  }
  /// @param n from 0 to reach_x. @param m from -ReachBeside(n) to ReachBeside(n).
  double& At(int n, int m) { return power[static_cast<std::size_t>(n * (2 * reach_y + 1) + m + reach_y)]; }
  double At(int n, int m) const { return power[static_cast<std::size_t>(n * (2 * reach_y + 1) + m + reach_y)]; }

  static constexpr double kLimit = kWaveShells + 0.5;
};

}  // namespace gyrebox::kernels
