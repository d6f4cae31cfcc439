#include "measure/structure_factor/fft_sums.h"

#include <fftw3.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "model/elementary.h"

namespace gyrebox::kernels {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr int kModes = kWaveShells + 1;
constexpr int kGrid = 3 * kWaveShells;  // points along each axis: 3 for each period of the shortest wave
constexpr int kRow = kGrid / 2 + 1;     // waves along x in the transform
constexpr int kSpread = 8;              // grid points along each axis that a bead is spread over

// The spreading function exp(b (sqrt(1 - z^2) - 1)), z in half widths, with b = 0.976 pi w (1 - 1/(2 s)) for a width of
// w points and s = 3/2 times as many points as the shortest wave needs (Barnett, Magland & af Klinteberg, SIAM J. Sci.
// Comput. 41, C479 (2019)).
constexpr double kSharpness = 0.976 * kPi * kSpread * (1 - 1 / 3.0);
double Spreading(double z) { return Exp(kSharpness * (std::sqrt(std::max(0.0, 1 - z * z)) - 1)); }

// Factor by which spreading changes the amplitude of each wave: the transform of the spreading function, by the
// trapezoidal rule in t, with z = sin t.
std::array<double, kModes> SpreadingOfWaves() {
  constexpr int kIntervals = 400;
  std::array<double, kModes> out{};
  for (int n = 0; n < kModes; ++n) {
    double sum = 0;
    for (int i = 1; i < kIntervals; ++i) {
      const double t = kPi * (static_cast<double>(i) / kIntervals - 0.5), z = std::sin(t);
      sum += Spreading(z) * std::cos(kPi * kSpread * n / kGrid * z) * std::cos(t);
    }
    out[static_cast<std::size_t>(n)] = sum * kPi / kIntervals * kSpread / 2;
  }
  return out;
}

// The grid points that a position is spread over along one axis, and their weights.
struct Spread {
  int points[kSpread];
  double weights[kSpread];

  explicit Spread(std::uint32_t position) {
    const double at = position * (kGrid * 0x1p-32);
    const int first = static_cast<int>(std::ceil(at - kSpread / 2.0));
    for (int i = 0; i < kSpread; ++i) {
      points[i] = (first + i + kGrid) % kGrid;
      weights[i] = Spreading((first + i - at) * (2.0 / kSpread));
    }
  }
};

// Created once, because planning is not thread-safe; and with FFTW_ESTIMATE, because a plan chosen by timing could
// change results bitwise.
fftw_plan Plan() {
  static const fftw_plan plan = [] {
    double* in = fftw_alloc_real(kGrid * kGrid);
    fftw_complex* out = fftw_alloc_complex(kGrid * kRow);
    const fftw_plan made = fftw_plan_dft_r2c_2d(kGrid, kGrid, in, out, FFTW_ESTIMATE);
    fftw_free(in);
    fftw_free(out);
    return made;
  }();
  return plan;
}

struct Free {
  void operator()(void* memory) const { fftw_free(memory); }
};

}  // namespace

// Aligned as the plan requires. Rows along x.
struct FftSums::Memory {
  std::unique_ptr<double[], Free> grid{fftw_alloc_real(kGrid * kGrid)};
  std::unique_ptr<fftw_complex[], Free> waves{fftw_alloc_complex(kGrid * kRow)};
};

FftSums::FftSums() : memory_(std::make_unique<Memory>()) {}
FftSums::~FftSums() = default;

void FftSums::SpreadOut(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y) {
  double* grid = memory_->grid.get();
  std::fill_n(grid, kGrid * kGrid, 0);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const Spread along_x(x[i]), along_y(y[i]);
    for (int b = 0; b < kSpread; ++b) {
      double* row = grid + along_y.points[b] * kGrid;
      for (int a = 0; a < kSpread; ++a) row[along_x.points[a]] += along_y.weights[b] * along_x.weights[a];
    }
  }
}

void FftSums::Measure(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, SpectralPower& waves) {
  static const std::array<double, kModes> spreading = SpreadingOfWaves();
  SpreadOut(x, y);
  fftw_execute_dft_r2c(Plan(), memory_->grid.get(), memory_->waves.get());
  for (int n = 0; n <= waves.reach_x; ++n) {
    for (int m = -waves.ReachBeside(n); m <= waves.ReachBeside(n); ++m) {
      const double* wave = memory_->waves[static_cast<std::size_t>((m + kGrid) % kGrid * kRow + n)];
      const double spread = spreading[static_cast<std::size_t>(n)] * spreading[static_cast<std::size_t>(std::abs(m))];
      waves.At(n, m) = (wave[0] * wave[0] + wave[1] * wave[1]) / (spread * spread);
    }
  }
}

}  // namespace gyrebox::kernels
