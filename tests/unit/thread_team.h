/// Teams of several host threads, in blocks of a few: they expose races that a single thread cannot.
#pragma once

#include <algorithm>
#include <atomic>
#include <barrier>
#include <cstdint>
#include <exception>
#include <memory>
#include <thread>
#include <vector>

#include "cuda/barrier.h"
#include "cuda/health.h"
#include "cuda/team_sums.h"

namespace gyrebox::kernels::cuda {

/// State shared by the threads of a team, organised as on a device (team.cuh): slots rotate, so that no call waits for
/// the readers of the previous one.
struct ThreadsShared {
  struct Block {
    explicit Block(std::ptrdiff_t threads) : barrier(threads) {}
    std::barrier<> barrier;
  };

  ThreadsShared(std::uint32_t n_blocks, std::uint32_t threads) {
    for (std::uint32_t b = 0; b < n_blocks; ++b) blocks.push_back(std::make_unique<Block>(threads));
  }

  std::vector<std::unique_ptr<Block>> blocks;
  std::uint32_t arrived = 0;  // see Arrival()
  HealthSlot health[3];
  std::uint32_t largest[3] = {};
};

/// One thread's interface to a team; serial_team.h documents the methods.
class ThreadTeam {
 public:
  ThreadTeam(ThreadsShared& shared, std::uint32_t block, std::uint32_t rank_in_block, std::uint32_t block_size)
      : shared_(shared), block_(block), rank_in_block_(rank_in_block), block_size_(block_size) {}

  std::uint32_t rank() const { return block_ * block_size_ + rank_in_block_; }
  std::uint32_t size() const { return blocks() * block_size_; }
  std::uint32_t block() const { return block_; }
  std::uint32_t blocks() const { return static_cast<std::uint32_t>(shared_.blocks.size()); }
  std::uint32_t rank_in_block() const { return rank_in_block_; }
  std::uint32_t block_size() const { return block_size_; }

  void SyncBlock() { shared_.blocks[block_]->barrier.arrive_and_wait(); }
  void Sync() {
    SyncBlock();
    if (blocks() == 1) return;
    if (rank_in_block_ == 0) {
      std::atomic_ref<std::uint32_t> arrived(shared_.arrived);
      const std::uint32_t before = arrived.fetch_add(Arrival(block_, blocks()));
      while (!HaveArrived(before, arrived.load())) std::this_thread::yield();
    }
    SyncBlock();
  }

  template <class T>
  T FetchAdd(T* at, T value) {
    return std::atomic_ref<T>(*at).fetch_add(value, std::memory_order_relaxed);
  }
  std::uint32_t FetchMax(std::uint32_t* at, std::uint32_t value) {
    std::atomic_ref<std::uint32_t> number(*at);
    std::uint32_t before = number.load(std::memory_order_relaxed);
    while (before < value && !number.compare_exchange_weak(before, value, std::memory_order_relaxed)) {
    }
    return before;
  }
  unsigned long long FetchCompareSwap(unsigned long long* at, unsigned long long expected, unsigned long long value) {
    std::atomic_ref<unsigned long long>(*at).compare_exchange_strong(expected, value, std::memory_order_relaxed);
    return expected;
  }
  template <class T>
  T LoadShared(const T* at) {
    return std::atomic_ref<T>(*const_cast<T*>(at)).load(std::memory_order_relaxed);
  }
  template <class T>
  void StoreShared(T* at, T value) {
    std::atomic_ref<T>(*at).store(value, std::memory_order_relaxed);
  }
  void AddAll(unsigned long long* at, unsigned long long mine) { FetchAdd(at, mine); }
  template <int K, class T>
  void AddByKey(bool has, std::uint32_t key, T* const (&arrays)[K], const T (&mine)[K]) {
    for (int k = 0; has && k < K; ++k) FetchAdd(&arrays[k][key], mine[k]);
  }

  HealthSlot Worst(const HealthSlot& mine) {
    HealthSlot& slot = shared_.health[turn_];
    FetchMax(&slot.nearness, mine.nearness);
    FetchMax(&slot.move, mine.move);
    FetchMax(&slot.drift, mine.drift);
    turn_ = (turn_ + 1) % 3;
    if (rank() == 0) shared_.health[turn_] = HealthSlot();
    Sync();
    return slot;
  }
  std::uint32_t Largest(std::uint32_t mine) {
    std::uint32_t& slot = shared_.largest[largest_turn_];
    FetchMax(&slot, mine);
    largest_turn_ = (largest_turn_ + 1) % 3;
    if (rank() == 0) shared_.largest[largest_turn_] = 0;
    Sync();
    return slot;
  }

  void ExclusiveScan(const std::uint32_t* in, std::uint32_t* out, std::uint32_t n, std::uint32_t* totals) {
    const std::uint32_t fraction = (n + blocks() - 1) / blocks();
    const std::uint32_t first = std::min(n, block_ * fraction), last = std::min(n, first + fraction);
    if (rank_in_block_ == 0) {
      std::uint32_t sum = 0;
      for (std::uint32_t i = first; i < last; ++i) {
        out[i] = sum;
        sum += in[i];
      }
      totals[block_] = sum;
    }
    Sync();
    std::uint32_t before = 0;
    for (std::uint32_t b = 0; b < block_; ++b) before += totals[b];
    for (std::uint32_t i = first + rank_in_block_; i < last; i += block_size_) out[i] += before;
    if (rank_in_block_ == 0 && block_ == blocks() - 1) out[n] = before + totals[block_];
    Sync();
  }

  // Sums by tiles, so that the order depends on n alone.
  template <int K, class Visit>
  void Sum(std::uint32_t n, double* partials, double (&sums)[K], const Visit& visit) {
    const std::uint32_t tiles = (n + kTile - 1) / kTile;
    // The previous sums may still be read, so alternate calls use different halves.
    second_half_ = !second_half_;
    if (second_half_) partials += kMaxSums * SumNumbers(n) / 2;
    for (std::uint32_t tile = rank(); tile < tiles; tile += size()) {
      double of_tile[K] = {};
      for (std::uint32_t i = tile * kTile; i < std::min(n, (tile + 1) * kTile); ++i) {
        double terms[K] = {};
        visit(i, terms);
        for (int k = 0; k < K; ++k) of_tile[k] += terms[k];
      }
      for (int k = 0; k < K; ++k) partials[k * tiles + tile] = of_tile[k];
    }
    Sync();
    for (int k = 0; k < K; ++k) {
      sums[k] = 0;
      for (std::uint32_t tile = 0; tile < tiles; ++tile) sums[k] += partials[k * tiles + tile];
    }
  }

 private:
  ThreadsShared& shared_;
  const std::uint32_t block_, rank_in_block_, block_size_;
  int turn_ = 0, largest_turn_ = 0;
  bool second_half_ = false;
};

/// Teams of several blocks of several threads.
class ThreadTeams {
 public:
  explicit ThreadTeams(std::uint32_t blocks = 1, std::uint32_t threads = 1) : blocks_(blocks), threads_(threads) {}

  std::uint32_t blocks() const { return blocks_; }
  template <class Work>
  void Together(const Work& work) const {
    ThreadsShared shared(blocks_, threads_);
    const auto one = [&](std::uint32_t t) {
      ThreadTeam team(shared, t / threads_, t % threads_, threads_);
      work(team);
    };
    std::vector<std::jthread> others;
    for (std::uint32_t t = 1; t < blocks_ * threads_; ++t) others.emplace_back(one, t);
    one(0);
  }

 private:
  std::uint32_t blocks_, threads_;
};

}  // namespace gyrebox::kernels::cuda
