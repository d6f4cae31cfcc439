/// Structure factor of the spinners: plane waves summed directly.
///
/// The sums of a wave (n, m) over beads are those of an outer product of two short vectors a bead, the cos and sin of
/// the phases n x and of the phases m y. Each thread of a block keeps the sums of a square of waves in registers while
/// all beads of a group pass by. Groups are spread over the blocks of a team; their sums are added up in order.
#pragma once

#include "cuda/measure_memory.h"
#include "cuda/measured.h"
#include "model/elementary.h"

namespace gyrebox::kernels::cuda {

/// cos and sin of 2 pi phase, phase a fraction of a turn.
GYREBOX_HD void CosSinTurn(std::uint32_t phase, float& cosine, float& sine) {
#if defined(__CUDA_ARCH__)
  sincospif(static_cast<float>(AsSigned(phase)) * 0x1p-31f, &sine, &cosine);
#else
  const std::uint64_t turn = static_cast<std::uint64_t>(phase) << 32;
  cosine = static_cast<float>(SinTurn(turn + (std::uint64_t{1} << 62)));
  sine = static_cast<float>(SinTurn(turn));
#endif
}

/// Squares of waves row by row: for each a, those (a, b) that hold a wave within the shells, which are the first ones.
class WaveSquares {
 public:
  GYREBOX_HD explicit WaveSquares(const WaveGrid& grid) : grid_(grid) {}

  /// Squares of row a.
  GYREBOX_HD int InRow(int a) const {
    return kWaveSquare * a > grid_.reach_x ? 0 : grid_.ReachBeside(kWaveSquare * a) / kWaveSquare + 1;
  }
  GYREBOX_HD int Count() const {
    int count = 0;
    for (int a = 0; a < kSquaresAlong; ++a) count += InRow(a);
    return count;
  }
  /// Sets the row and the place in the row of square number `square`.
  GYREBOX_HD void Find(int square, int& a, int& b) const {
    for (a = 0; square >= InRow(a); ++a) square -= InRow(a);
    b = square;
  }

 private:
  WaveGrid grid_;
};

template <class Team, class Index>
class WavePass {
 public:
  GYREBOX_PASS WavePass(Team& team, const BedView<Index>& bed, const MeasureMemory& memory)
      : team_(team),
        bed_(bed),
        plan_(bed.plan),
        memory_(memory),
        grid_(plan_.side_x, plan_.side_y),
        squares_(grid_),
        n_squares_(squares_.Count()),
        groups_((plan_.n_spinners + kWaveGroup - 1) / kWaveGroup) {}

  GYREBOX_PASS void Run(MeasuredSums& out) {
    if (plan_.n_spinners == 0) return;
    ListSpinners();
    for (std::uint32_t group = team_.block(); group < groups_; group += team_.blocks()) AddGroup(group);
    team_.Sync();
    AddGroupsUp();
    AddShells(out);
    team_.Sync();
  }

 private:
  GYREBOX_PASS void ListSpinners() {
    for (std::uint32_t i = team_.rank(); i < plan_.n; i += team_.size()) {
      memory_.flags[i] = IsSpinner(bed_.tag[i]) ? 1 : 0;
    }
    team_.Sync();
    team_.ExclusiveScan(memory_.flags, memory_.places, plan_.n, plan_.memory.block_totals);
    for (std::uint32_t i = team_.rank(); i < plan_.n; i += team_.size()) {
      if (memory_.flags[i] != 0) memory_.spinners[memory_.places[i]] = i;
    }
    team_.Sync();
  }

  GYREBOX_PASS WaveSums& SumsOf(std::uint32_t group, int square, int wave) const {
    return memory_.waves[(static_cast<std::size_t>(group) * kMostSquares + square) * kWavesOfSquare + wave];
  }

  // Sums of one group, by this block alone. Where it has a thread for every square, each keeps its sums at hand; in a
  // smaller block each takes several in turn, whose sums wait in memory.
  GYREBOX_PASS void AddGroup(std::uint32_t group) {
    const std::uint32_t first = group * kWaveGroup, left = plan_.n_spinners - first;
    const std::uint32_t count = left < kWaveGroup ? left : kWaveGroup;
    const int rank = static_cast<int>(team_.rank_in_block()), threads = static_cast<int>(team_.block_size());
    const bool at_hand = threads >= n_squares_;
    int a = 0, b = 0;
    if (rank < n_squares_) squares_.Find(rank, a, b);
    WaveSums sums[kWavesOfSquare] = {};
    for (std::uint32_t tile = 0; tile < count; tile += kWaveTile) {
      team_.SyncBlock();
      SetPhases(first + tile, count - tile < kWaveTile ? count - tile : kWaveTile);
      team_.SyncBlock();
      for (int square = rank; square < n_squares_; square += threads) {
        if (!at_hand) {
          squares_.Find(square, a, b);
          for (int wave = 0; wave < kWavesOfSquare; ++wave) {
            sums[wave] = tile == 0 ? WaveSums() : SumsOf(group, square, wave);
          }
        }
        AddTile(a * kWaveSquare, b * kWaveSquare, sums);
        if (!at_hand) Keep(group, square, sums);
      }
    }
    if (at_hand && rank < n_squares_) Keep(group, rank, sums);
    team_.SyncBlock();
  }
  GYREBOX_PASS void Keep(std::uint32_t group, int square, const WaveSums (&sums)[kWavesOfSquare]) const {
    for (int wave = 0; wave < kWavesOfSquare; ++wave) SumsOf(group, square, wave) = sums[wave];
  }

  // Phases of the beads from a place in the list on; where there are fewer than a tile the others add nothing.
  GYREBOX_PASS void SetPhases(std::uint32_t first, std::uint32_t count) {
    constexpr std::uint32_t kOrders = WavePhases::kOrders;
    const PlaceMotion* now = bed_.Now(bed_.beads);
    for (std::uint32_t k = team_.rank_in_block(); k < kWaveTile * kOrders; k += team_.block_size()) {
      const std::uint32_t bead = k / kOrders, order = k % kOrders;
      WavePhases::OfBead& out = memory_.block->phases.beads[bead];
      if (bead < count) {
        const PlaceMotion at = now[memory_.spinners[first + bead]];
        CosSinTurn(order * at.x, out.cos_x[order], out.sin_x[order]);
        CosSinTurn(order * at.y, out.cos_y[order], out.sin_y[order]);
      } else {
        out.cos_x[order] = out.sin_x[order] = out.cos_y[order] = out.sin_y[order] = 0;
      }
    }
  }

  GYREBOX_PASS void AddTile(int n, int m, WaveSums (&sums)[kWavesOfSquare]) const {
    for (std::uint32_t bead = 0; bead < kWaveTile; ++bead) {
      const WavePhases::OfBead& of = memory_.block->phases.beads[bead];
      const Four cos_x(of.cos_x + n), sin_x(of.sin_x + n), cos_y(of.cos_y + m), sin_y(of.sin_y + m);
#if defined(__CUDACC__)
#pragma unroll
#endif
      for (int i = 0; i < kWaveSquare; ++i) {
#if defined(__CUDACC__)
#pragma unroll
#endif
        for (int j = 0; j < kWaveSquare; ++j) {
          WaveSums& sum = sums[i * kWaveSquare + j];
          sum.cc = Fma(cos_x.at[i], cos_y.at[j], sum.cc);
          sum.cs = Fma(cos_x.at[i], sin_y.at[j], sum.cs);
          sum.sc = Fma(sin_x.at[i], cos_y.at[j], sum.sc);
          sum.ss = Fma(sin_x.at[i], sin_y.at[j], sum.ss);
        }
      }
    }
  }
  // Read at once.
  struct alignas(16) Four {
    float at[kWaveSquare];
    GYREBOX_HD explicit Four(const float* from) { __builtin_memcpy(this, __builtin_assume_aligned(from, 16), 16); }
  };

  // The power of a wave and of its mirror image, in place of its sums.
  struct alignas(16) Power {
    double direct, mirror;
  };
  GYREBOX_PASS void AddGroupsUp() {
    const auto waves = static_cast<std::uint32_t>(n_squares_ * kWavesOfSquare);
    for (std::uint32_t k = team_.rank(); k < waves; k += team_.size()) {
      const int square = static_cast<int>(k / kWavesOfSquare), wave = static_cast<int>(k % kWavesOfSquare);
      double cc = 0, cs = 0, sc = 0, ss = 0;
      for (std::uint32_t group = 0; group < groups_; ++group) {
        const WaveSums sums = SumsOf(group, square, wave);
        cc += static_cast<double>(sums.cc);
        cs += static_cast<double>(sums.cs);
        sc += static_cast<double>(sums.sc);
        ss += static_cast<double>(sums.ss);
      }
      const Power power = {(cc - ss) * (cc - ss) + (sc + cs) * (sc + cs),
                           (cc + ss) * (cc + ss) + (sc - cs) * (sc - cs)};
      static_assert(sizeof(power) == sizeof(WaveSums));
      __builtin_memcpy(&SumsOf(0, square, wave), &power, sizeof(power));
    }
    team_.Sync();
  }

  // One thread a shell; of k and -k only one counts.
  GYREBOX_PASS void AddShells(MeasuredSums& out) {
    for (std::uint32_t shell = team_.rank(); shell < kWaveShells; shell += team_.size()) {
      double sum = 0, sum_times_k = 0;
      int row_start = 0;  // first square of the row
      for (int n = 0; n <= grid_.reach_x; ++n) {
        if (n % kWaveSquare == 0 && n > 0) row_start += squares_.InRow(n / kWaveSquare - 1);
        const int from = MostBelow(shell + 0.5, n) - 1, to = MostBelow(shell + 1.5, n) + 1;
        const int reach = grid_.ReachBeside(n);
        for (int m = from < 0 ? 0 : from; m <= to && m <= reach; ++m) {
          const double k = grid_.Magnitude(n, m);
          if (WaveGrid::ShellOf(k) != static_cast<int>(shell) || (n == 0 && m == 0)) continue;
          Power power;
          __builtin_memcpy(&power,
                           &SumsOf(0, row_start + m / kWaveSquare, n % kWaveSquare * kWaveSquare + m % kWaveSquare),
                           sizeof(power));
          const double both = power.direct + (n > 0 && m > 0 ? power.mirror : 0);
          sum += both;
          sum_times_k += both * k;
        }
      }
      out.shells.power[shell] = sum;
      out.shells.power_times_k[shell] = sum_times_k;
    }
  }
  // About the largest m for which (n, m) has under this magnitude.
  GYREBOX_PASS int MostBelow(double magnitude, int n) const {
    const double left = magnitude * magnitude - n * grid_.scale_x * (n * grid_.scale_x);
    return left <= 0 ? 0 : static_cast<int>(Sqrt(left) / grid_.scale_y);
  }

  Team& team_;
  const BedView<Index>& bed_;
  const BedPlan& plan_;
  const MeasureMemory& memory_;
  const WaveGrid grid_;
  const WaveSquares squares_;
  const int n_squares_;
  const std::uint32_t groups_;
};

}  // namespace gyrebox::kernels::cuda
