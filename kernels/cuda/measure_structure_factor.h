/// Structure factor of the spinners: direct Fourier sums.
///
/// The sums of a wave (n, m) over beads form an outer product of two short vectors per bead, the cos and sin of the
/// phases n x and of the phases m y. Each thread of a block keeps the sums of a square of waves in registers and
/// iterates over all beads of a group. Groups are distributed over the blocks of a team; their sums are added in order.
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

template <class Team, class Index>
class WavePass {
 public:
  GYREBOX_PASS WavePass(Team& team, const BedView<Index>& bed, const MeasureMemory& memory)
      : team_(team),
        bed_(bed),
        plan_(bed.plan),
        memory_(memory),
        block_(memory.block->waves),
        grid_(plan_.side_x, plan_.side_y),
        groups_((plan_.n_spinners + kWaveGroup - 1) / kWaveGroup) {}

  GYREBOX_PASS void Run(MeasuredSums& out) {
    if (plan_.n_spinners == 0) return;
    ListSquares();
    CopyPositions();
    for (std::uint32_t group = team_.block(); group < groups_; group += team_.blocks()) AddGroup(group);
    team_.Sync();
    AddShells();
    for (std::uint32_t shell = team_.rank(); shell < kWaveShells; shell += team_.size()) {
      out.shells.power[shell] = static_cast<double>(memory_.shells[shell]) * Quantum();
      out.shells.power_times_k[shell] = static_cast<double>(memory_.shells[kWaveShells + shell]) * Quantum();
    }
    team_.Sync();
  }

 private:
  // Row a of squares holds the waves from n = a kWaveSquare on; its first squares are those with a wave within the
  // shells.
  GYREBOX_PASS void ListSquares() {
    const std::uint32_t rank = team_.rank_in_block(), size = team_.block_size();
    for (std::uint32_t a = rank; a < kSquaresAlong; a += size) {
      const int n = kWaveSquare * static_cast<int>(a);
      block_.first_of_row[a + 1] = n > grid_.reach_x ? 0 : grid_.ReachBeside(n) / kWaveSquare + 1;
    }
    team_.SyncBlock();
    if (rank == 0) {
      block_.first_of_row[0] = 0;
      for (int a = 0; a < kSquaresAlong; ++a) block_.first_of_row[a + 1] += block_.first_of_row[a];
    }
    team_.SyncBlock();
    n_squares_ = block_.first_of_row[kSquaresAlong];
  }
  // Row and column of a square.
  struct Square {
    int a, b;
  };
  GYREBOX_PASS Square Find(int square) const {
    int a = 0;
    while (square >= block_.first_of_row[a + 1]) ++a;
    return {a, square - block_.first_of_row[a]};
  }

  GYREBOX_PASS void CopyPositions() {
    const PositionVelocity* now = bed_.Now(bed_.beads);
    for (std::uint32_t k = team_.rank(); k < plan_.n_spinners; k += team_.size()) {
      const PositionVelocity& spinner = now[memory_.spinner_slots[k]];
      memory_.spinners[k] = {spinner.x, spinner.y};
    }
    for (std::uint32_t k = team_.rank(); k < 2 * kWaveShells; k += team_.size()) memory_.shells[k] = 0;
    team_.Sync();
  }

  GYREBOX_PASS WaveSums& SumsOf(std::uint32_t group, int square, int wave) const {
    return memory_.waves[(static_cast<std::size_t>(group) * kMaxSquares + square) * kWavesOfSquare + wave];
  }

  // Sums of one group, by this block alone. If there is a thread for every square, each keeps its sums in registers; in
  // a smaller block each thread handles several squares in turn, whose sums are kept in memory. The phases of the next
  // tile are computed while a tile is summed.
  GYREBOX_PASS void AddGroup(std::uint32_t group) {
    const std::uint32_t first = group * kWaveGroup, left = plan_.n_spinners - first;
    const std::uint32_t tiles = ((left < kWaveGroup ? left : kWaveGroup) + kWaveTile - 1) / kWaveTile;
    const int rank = static_cast<int>(team_.rank_in_block()), threads = static_cast<int>(team_.block_size());
    const bool at_hand = threads >= n_squares_;
    Square at = {0, 0};
    if (rank < n_squares_) at = Find(rank);
    WaveSums sums[kWavesOfSquare] = {};
    SetPhases(first, 0);
    for (std::uint32_t tile = 0; tile < tiles; ++tile) {
      team_.SyncBlock();
      if (tile + 1 < tiles) SetPhases(first + (tile + 1) * kWaveTile, (tile + 1) % 2);
      for (int square = rank; square < n_squares_; square += threads) {
        if (!at_hand) {
          at = Find(square);
          for (int wave = 0; wave < kWavesOfSquare; ++wave) {
            sums[wave] = tile == 0 ? WaveSums() : SumsOf(group, square, wave);
          }
        }
        AddTile(tile % 2, at, sums);
        if (!at_hand) Keep(group, square, sums);
      }
    }
    if (at_hand && rank < n_squares_) Keep(group, rank, sums);
    team_.SyncBlock();
  }
  GYREBOX_PASS void Keep(std::uint32_t group, int square, const WaveSums (&sums)[kWavesOfSquare]) const {
    for (int wave = 0; wave < kWavesOfSquare; ++wave) SumsOf(group, square, wave) = sums[wave];
  }

  // Phases of the beads from an index in the list on; beads past its end add nothing. Starts with the last threads of
  // the block, which have no square.
  GYREBOX_PASS void SetPhases(std::uint32_t first, std::uint32_t half) {
    constexpr std::uint32_t kRuns = kSquaresAlong;
#pragma unroll 1
    for (std::uint32_t k = team_.block_size() - 1 - team_.rank_in_block(); k < kWaveTile * 2 * kRuns;
         k += team_.block_size()) {
      const std::uint32_t bead = k / (2 * kRuns), run = k % kRuns;
      const bool along_x = k % (2 * kRuns) < kRuns;
      WavePhases& out = (along_x ? block_.x : block_.y)[half][bead][run];
      if (first + bead < plan_.n_spinners) {
        const Pair32 position = memory_.spinners[first + bead];
        out = PhasesOf(along_x ? position.x : position.y, run);
      } else {
        out = {};
      }
    }
  }
  // The first of four multiples is exact; the others follow from the angle-sum formulas.
  GYREBOX_PASS static WavePhases PhasesOf(std::uint32_t position, std::uint32_t run) {
    WavePhases out;
    float c, s;
    CosSinTurn(position, c, s);
    CosSinTurn(position * (run * kWaveSquare), out.cosine.at[0], out.sine.at[0]);
#pragma unroll
    for (int k = 1; k < kWaveSquare; ++k) {
      out.cosine.at[k] = Fma(out.cosine.at[k - 1], c, -(out.sine.at[k - 1] * s));
      out.sine.at[k] = Fma(out.sine.at[k - 1], c, out.cosine.at[k - 1] * s);
    }
    return out;
  }

  GYREBOX_PASS void AddTile(std::uint32_t half, const Square& at, WaveSums (&sums)[kWavesOfSquare]) const {
#pragma unroll 1
    for (std::uint32_t bead = 0; bead < kWaveTile; ++bead) {
      const WavePhases x = block_.x[half][bead][at.a], y = block_.y[half][bead][at.b];
#pragma unroll
      for (int wave = 0; wave < kWavesOfSquare; ++wave) {
        const int i = wave / kWaveSquare, j = wave % kWaveSquare;
        WaveSums& sum = sums[wave];
        sum.cc = Fma(x.cosine.at[i], y.cosine.at[j], sum.cc);
        sum.cs = Fma(x.cosine.at[i], y.sine.at[j], sum.cs);
        sum.sc = Fma(x.sine.at[i], y.cosine.at[j], sum.sc);
        sum.ss = Fma(x.sine.at[i], y.sine.at[j], sum.ss);
      }
    }
  }

  // The power of each wave, at most the square of the number of beads, is added to its shell in integer quanta: 256
  // waves, times 64 for the largest k, stay under 2^64 quanta.
  GYREBOX_PASS double Quantum() const {
    return static_cast<double>(plan_.n_spinners) * static_cast<double>(plan_.n_spinners) * 0x1p-48;
  }
  GYREBOX_PASS void AddShells() {
    const double quanta = 1 / Quantum();
    const auto waves = static_cast<std::uint32_t>(n_squares_ * kWavesOfSquare);
    for (std::uint32_t k = team_.rank(); k < waves; k += team_.size()) {
      const int square = static_cast<int>(k / kWavesOfSquare), wave = static_cast<int>(k % kWavesOfSquare);
      const Square at = Find(square);
      const int n = at.a * kWaveSquare + wave / kWaveSquare, m = at.b * kWaveSquare + wave % kWaveSquare;
      if (n > grid_.reach_x || m > grid_.ReachBeside(n) || (n == 0 && m == 0)) continue;
      double cc = 0, cs = 0, sc = 0, ss = 0;
      for (std::uint32_t group = 0; group < groups_; ++group) {
        const WaveSums sums = SumsOf(group, square, wave);
        cc += static_cast<double>(sums.cc);
        cs += static_cast<double>(sums.cs);
        sc += static_cast<double>(sums.sc);
        ss += static_cast<double>(sums.ss);
      }
      double power = (cc - ss) * (cc - ss) + (sc + cs) * (sc + cs);
      // Only one of k and -k counts.
      if (n > 0 && m > 0) power += (cc + ss) * (cc + ss) + (sc - cs) * (sc - cs);
      const double magnitude = grid_.Magnitude(n, m);
      const int shell = WaveGrid::ShellOf(magnitude);
      team_.FetchAdd(&memory_.shells[shell], static_cast<unsigned long long>(power * quanta + 0.5));
      team_.FetchAdd(&memory_.shells[kWaveShells + shell],
                     static_cast<unsigned long long>(power * magnitude * quanta + 0.5));
    }
    team_.Sync();
  }

  Team& team_;
  const BedView<Index>& bed_;
  const BedPlan& plan_;
  const MeasureMemory& memory_;
  WaveBlock& block_;
  const WaveGrid grid_;
  const std::uint32_t groups_;
  int n_squares_ = 0;
};

}  // namespace gyrebox::kernels::cuda
