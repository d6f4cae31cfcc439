/// Teams of device threads that step one bed together; SerialTeam documents the methods.
#pragma once

#include "cuda/barrier.h"
#include "cuda/health.h"
#include "cuda/team_sums.h"

namespace gyrebox::kernels::cuda {

/// Shared memory of the threads of a block.
struct BlockShared {
  HealthSlot health[3];
  std::uint32_t largest[3];
  std::uint32_t warp_totals[32];
  std::uint32_t carry;
};

/// Device memory that the blocks of a team share. Zeroed before every launch.
struct GridShared {
  std::uint32_t arrived;  ///< see Arrival()
  std::uint32_t largest[3];
  HealthSlot health[3];
};

__device__ __forceinline__ std::uint32_t LaneId() { return threadIdx.x & 31u; }

/// Threads of one block.
class BlockTeam {
 public:
  __device__ explicit BlockTeam(BlockShared& shared) : shared_(shared) {
    if (threadIdx.x < 3) {
      shared_.health[threadIdx.x] = HealthSlot();
      shared_.largest[threadIdx.x] = 0;
    }
    __syncthreads();
  }

  __device__ std::uint32_t rank() const { return threadIdx.x; }
  __device__ std::uint32_t size() const { return blockDim.x; }
  __device__ std::uint32_t blocks() const { return 1; }
  __device__ std::uint32_t block() const { return 0; }
  __device__ std::uint32_t rank_in_block() const { return threadIdx.x; }
  __device__ std::uint32_t block_size() const { return blockDim.x; }
  __device__ void Sync() { __syncthreads(); }
  __device__ void SyncBlock() { __syncthreads(); }

  template <class T>
  __device__ T FetchAdd(T* at, T value) {
    return atomicAdd(at, value);
  }
  __device__ std::uint32_t FetchMax(std::uint32_t* at, std::uint32_t value) { return atomicMax(at, value); }

  __device__ unsigned long long FetchCompareSwap(unsigned long long* at, unsigned long long expected,
                                                 unsigned long long value) {
    return atomicCAS(at, expected, value);
  }

  template <class T>
  __device__ T LoadShared(const T* at) {
    return *at;
  }
  template <class T>
  __device__ void StoreShared(T* at, T value) {
    *at = value;
  }

  __device__ void AddAll(unsigned long long* at, unsigned long long mine) {
    for (int step = 16; step > 0; step /= 2) mine += __shfl_xor_sync(~0u, mine, step);
    if (LaneId() == 0 && mine != 0) atomicAdd(at, mine);
  }

  // Lanes with the same key reduce pairwise among themselves, and the first of them adds the sum.
  template <int K, class T>
  __device__ void AddByKey(bool has, std::uint32_t key, T* const (&arrays)[K], const T (&mine)[K]) {
    const std::uint32_t having = __ballot_sync(~0u, has);
    if (having == 0) return;
    const std::uint32_t same = __match_any_sync(~0u, key) & having, below = (1u << LaneId()) - 1;
    T sums[K];
    for (int k = 0; k < K; ++k) sums[k] = mine[k];
    std::uint32_t rank = __popc(same & below);
    const bool first = has && rank == 0;
    std::uint32_t later = has ? same & ~below & ~(1u << LaneId()) : 0;
    while (__any_sync(~0u, later != 0)) {
      const int next = __ffs(static_cast<int>(later)) - 1;
      for (int k = 0; k < K; ++k) {
        const T other = __shfl_sync(~0u, sums[k], next & 31);
        if (next >= 0) sums[k] += other;
      }
      later &= __ballot_sync(~0u, (rank & 1) == 0);
      rank >>= 1;
    }
    for (int k = 0; first && k < K; ++k) atomicAdd(&arrays[k][key], sums[k]);
  }

  // Three alternating slots: one is filled and read, the next one is cleared, and threads may still be reading the last
  // one.
  __device__ HealthSlot Worst(const HealthSlot& mine) {
    Gather(mine);
    if (threadIdx.x == 0) shared_.health[Next(turn_)] = HealthSlot();
    __syncthreads();
    const HealthSlot worst = shared_.health[turn_];
    turn_ = Next(turn_);
    return worst;
  }
  __device__ std::uint32_t Largest(std::uint32_t mine) {
    GatherLargest(mine);
    if (threadIdx.x == 0) shared_.largest[Next(largest_turn_)] = 0;
    __syncthreads();
    const std::uint32_t largest = shared_.largest[largest_turn_];
    largest_turn_ = Next(largest_turn_);
    return largest;
  }

  __device__ void ExclusiveScan(const std::uint32_t* in, std::uint32_t* out, std::uint32_t n, std::uint32_t*) {
    const std::uint32_t total = ScanRange(in, out, 0, n);
    if (threadIdx.x == 0) out[n] = total;
    __syncthreads();
  }

  template <int K, class Visit>
  __device__ void Sum(std::uint32_t n, double* partials, double (&sums)[K], const Visit& visit) {
    SumTiles<K>(*this, n, partials, sums, visit);
  }

  __device__ bool second_half() {
    second_half_ = !second_half_;
    return second_half_;
  }

 protected:
  __device__ static int Next(int turn) { return turn == 2 ? 0 : turn + 1; }
  __device__ void Gather(const HealthSlot& mine) {
    const std::uint32_t nearness = __reduce_max_sync(~0u, mine.nearness);
    const std::uint32_t move = __reduce_max_sync(~0u, mine.move);
    const std::uint32_t drift = __reduce_max_sync(~0u, mine.drift);
    if (LaneId() == 0) {
      atomicMax(&shared_.health[turn_].nearness, nearness);
      atomicMax(&shared_.health[turn_].move, move);
      atomicMax(&shared_.health[turn_].drift, drift);
    }
  }
  __device__ void GatherLargest(std::uint32_t mine) {
    const std::uint32_t largest = __reduce_max_sync(~0u, mine);
    if (LaneId() == 0) atomicMax(&shared_.largest[largest_turn_], largest);
  }

  // Scan of [first, last) by this block alone, starting at 0. @return the total.
  __device__ std::uint32_t ScanRange(const std::uint32_t* in, std::uint32_t* out, std::uint32_t first,
                                     std::uint32_t last) {
    std::uint32_t carry = 0;
    const std::uint32_t warp = threadIdx.x / 32, warps = blockDim.x / 32;
    for (std::uint32_t begin = first; begin < last; begin += blockDim.x) {
      const std::uint32_t i = begin + threadIdx.x;
      const std::uint32_t own = i < last ? in[i] : 0;
      std::uint32_t sum = own;
      for (int step = 1; step < 32; step *= 2) {
        const std::uint32_t other = __shfl_up_sync(~0u, sum, step);
        if (LaneId() >= step) sum += other;
      }
      if (LaneId() == 31) shared_.warp_totals[warp] = sum;
      __syncthreads();
      std::uint32_t before = carry;
      for (std::uint32_t w = 0; w < warps; ++w) {
        const std::uint32_t total = shared_.warp_totals[w];
        if (w < warp) before += total;
        carry += total;
      }
      if (i < last) out[i] = before + sum - own;
      __syncthreads();
    }
    return carry;
  }

  template <int K, class Team, class Visit>
  __device__ static void SumTiles(Team& team, std::uint32_t n, double* partials, double (&sums)[K],
                                  const Visit& visit) {
    // A tile holds one bead per lane of a warp; a heap holds the tiles that one warp then sums together.
    constexpr std::uint32_t kHeap = 1024;
    const std::uint32_t tiles = (n + 31) / 32, heaps = (tiles + kHeap - 1) / kHeap;
    // Threads may still be reading the previous sums, so calls alternate between two halves.
    if (team.second_half()) partials += kMaxSums * (tiles + heaps);
    const std::uint32_t warp = team.rank() / 32, warps = team.size() / 32;
    for (std::uint32_t tile = warp; tile < tiles; tile += warps) {
      const std::uint32_t i = tile * 32 + LaneId();
      double terms[K] = {};
      if (i < n) visit(i, terms);
      for (int k = 0; k < K; ++k) {
        const double sum = SumOfLanes(terms[k]);
        if (LaneId() == 0) partials[k * tiles + tile] = sum;
      }
    }
    team.Sync();
    const double* level = partials;
    std::uint32_t count = tiles;
    if (heaps > 1) {
      double* upper = partials + K * tiles;
      for (std::uint32_t heap = warp; heap < heaps; heap += warps) {
        for (int k = 0; k < K; ++k) {
          const std::uint32_t end = min(tiles, (heap + 1) * kHeap);
          const double sum = SumOfRange(partials + k * tiles, heap * kHeap, end);
          if (LaneId() == 0) upper[k * heaps + heap] = sum;
        }
      }
      team.Sync();
      level = upper;
      count = heaps;
    }
    for (int k = 0; k < K; ++k) sums[k] = SumOfRange(level + k * count, 0, count);
  }

  BlockShared& shared_;
  int turn_ = 0, largest_turn_ = 0;
  bool second_half_ = false;

 private:
  __device__ static double SumOfLanes(double value) {
    for (int step = 16; step > 0; step /= 2) value += __shfl_xor_sync(~0u, value, step);
    return value;
  }
  __device__ static double SumOfRange(const double* values, std::uint32_t first, std::uint32_t last) {
    double sum = 0;
    for (std::uint32_t i = first + LaneId(); i < last; i += 32) sum += values[i];
    return SumOfLanes(sum);
  }
};

/// Threads of several blocks, which must all be on the device at the same time.
class GridTeam : public BlockTeam {
 public:
  __device__ GridTeam(BlockShared& shared, GridShared& grid, std::uint32_t block, std::uint32_t blocks)
      : BlockTeam(shared), grid_(grid), block_(block), blocks_(blocks) {}

  __device__ std::uint32_t rank() const { return block_ * blockDim.x + threadIdx.x; }
  __device__ std::uint32_t size() const { return blocks_ * blockDim.x; }
  __device__ std::uint32_t blocks() const { return blocks_; }
  __device__ std::uint32_t block() const { return block_; }

  __device__ void Sync() {
    __syncthreads();
    if (blocks_ == 1) return;
    if (threadIdx.x == 0) {
      __threadfence();
      const std::uint32_t before = atomicAdd(&grid_.arrived, Arrival(block_, blocks_));
      while (!HaveArrived(before, Load(&grid_.arrived))) {
      }
      __threadfence();
    }
    __syncthreads();
  }

  __device__ HealthSlot Worst(const HealthSlot& mine) {
    const int turn = turn_;
    const HealthSlot of_block = BlockTeam::Worst(mine);
    if (blocks_ == 1) return of_block;
    if (threadIdx.x == 0) {
      atomicMax(&grid_.health[turn].nearness, of_block.nearness);
      atomicMax(&grid_.health[turn].move, of_block.move);
      atomicMax(&grid_.health[turn].drift, of_block.drift);
      if (block_ == 0) grid_.health[Next(turn)] = HealthSlot();
    }
    Sync();
    return {Load(&grid_.health[turn].nearness), Load(&grid_.health[turn].move), Load(&grid_.health[turn].drift)};
  }
  __device__ std::uint32_t Largest(std::uint32_t mine) {
    const int turn = largest_turn_;
    const std::uint32_t of_block = BlockTeam::Largest(mine);
    if (blocks_ == 1) return of_block;
    if (threadIdx.x == 0) {
      atomicMax(&grid_.largest[turn], of_block);
      if (block_ == 0) grid_.largest[Next(turn)] = 0;
    }
    Sync();
    return Load(&grid_.largest[turn]);
  }

  __device__ void ExclusiveScan(const std::uint32_t* in, std::uint32_t* out, std::uint32_t n, std::uint32_t* totals) {
    if (blocks_ == 1) return BlockTeam::ExclusiveScan(in, out, n, totals);
    const std::uint32_t share = (n + blocks_ - 1) / blocks_;
    const std::uint32_t first = min(n, block_ * share), last = min(n, first + share);
    const std::uint32_t total = ScanRange(in, out, first, last);
    if (threadIdx.x == 0) totals[block_] = total;
    Sync();
    std::uint32_t before = 0;
    for (std::uint32_t b = 0; b < block_; ++b) before += Load(&totals[b]);
    for (std::uint32_t i = first + threadIdx.x; i < last; i += blockDim.x) out[i] += before;
    if (threadIdx.x == 0 && block_ == blocks_ - 1) out[n] = before + total;
    Sync();
  }

  template <int K, class Visit>
  __device__ void Sum(std::uint32_t n, double* partials, double (&sums)[K], const Visit& visit) {
    SumTiles<K>(*this, n, partials, sums, visit);
  }

 private:
  // Bypasses the first-level cache, which is not coherent with writes of other multiprocessors.
  __device__ static std::uint32_t Load(const std::uint32_t* at) {
    std::uint32_t value;
    asm volatile("ld.acquire.gpu.global.u32 %0, [%1];" : "=r"(value) : "l"(at) : "memory");
    return value;
  }

  GridShared& grid_;
  std::uint32_t block_, blocks_;
};

}  // namespace gyrebox::kernels::cuda
