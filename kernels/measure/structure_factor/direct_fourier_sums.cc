#include "measure/structure_factor/direct_fourier_sums.h"

#include <algorithm>

#include "model/elementary.h"

namespace gyrebox::kernels {
namespace {

constexpr int kModes = kWaveShells + 1;
constexpr int kTogether = 4;        // beads added together: each sum is loaded and stored once for them
constexpr std::size_t kBlock = 64;  // beads whose phases fit in the cache together

// cos and sin of n times a phase, n from 0.
struct Powers {
  double cosine[kModes], sine[kModes];

  // n = 1 is exact; the others follow from the angle-sum formulas.
  void Set(std::uint32_t position) {
    const std::uint64_t turn = static_cast<std::uint64_t>(position) << 32;
    const double c = SinTurn(turn + (std::uint64_t{1} << 62)), s = SinTurn(turn);
    cosine[0] = 1;
    sine[0] = 0;
    for (int n = 1; n < kModes; ++n) {
      cosine[n] = cosine[n - 1] * c - sine[n - 1] * s;
      sine[n] = sine[n - 1] * c + cosine[n - 1] * s;
    }
  }
  void Clear() {
    std::fill_n(cosine, kModes, 0);
    std::fill_n(sine, kModes, 0);
  }
};

struct BeadPowers {
  Powers x, y;
};

// For one n and every m: sums over beads of the products of cos or sin of n x with cos or sin of m y. Together they
// give the waves (n, m) and (n, -m).
struct RowSums {
  double cc[kModes], cs[kModes], sc[kModes], ss[kModes];

  void Add(const BeadPowers* __restrict beads, int n, int last_m) {
    for (int m = 0; m <= last_m; ++m) {
      for (int bead = 0; bead < kTogether; ++bead) {
        const Powers &px = beads[bead].x, &py = beads[bead].y;
        cc[m] += px.cosine[n] * py.cosine[m];
        cs[m] += px.cosine[n] * py.sine[m];
        sc[m] += px.sine[n] * py.cosine[m];
        ss[m] += px.sine[n] * py.sine[m];
      }
    }
  }
  double Power(int m) const { return Square(cc[m] - ss[m]) + Square(sc[m] + cs[m]); }
  double PowerOfMirror(int m) const { return Square(cc[m] + ss[m]) + Square(sc[m] - cs[m]); }
  static double Square(double a) { return a * a; }
};

}  // namespace

struct DirectFourierSums::Tables {
  BeadPowers beads[kBlock];
  RowSums rows[kModes];
};

DirectFourierSums::DirectFourierSums() : tables_(std::make_unique<Tables>()) {}
DirectFourierSums::~DirectFourierSums() = default;

void DirectFourierSums::Measure(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y,
                                SpectralPower& waves) {
  Tables& tables = *tables_;
  std::fill_n(tables.rows, kModes, RowSums{});
  for (std::size_t first = 0; first < x.size(); first += kBlock) {
    const std::size_t count = std::min(kBlock, x.size() - first);
    const std::size_t padded = (count + kTogether - 1) / kTogether * kTogether;
    for (std::size_t i = 0; i < count; ++i) {
      tables.beads[i].x.Set(x[first + i]);
      tables.beads[i].y.Set(y[first + i]);
    }
    for (std::size_t i = count; i < padded; ++i) {
      tables.beads[i].x.Clear();
      tables.beads[i].y.Clear();
    }
    for (int n = 0; n <= waves.reach_x; ++n) {
      for (std::size_t i = 0; i < padded; i += kTogether) {
        tables.rows[n].Add(tables.beads + i, n, waves.ReachBeside(n));
      }
    }
  }
  for (int n = 0; n <= waves.reach_x; ++n) {
    for (int m = 0; m <= waves.ReachBeside(n); ++m) {
      waves.At(n, m) = tables.rows[n].Power(m);
      waves.At(n, -m) = tables.rows[n].PowerOfMirror(m);
    }
  }
}

}  // namespace gyrebox::kernels
