/// A team of one, on the host: runs the device's passes step by step where there is no device, for tests.
#pragma once

#include <algorithm>
#include <cstdint>

#include "cuda/health.h"

namespace gyrebox::kernels::cuda {

/// A team is the threads that step one bed together: one here, a block, or a group of blocks (see team.cuh). Every
/// method must be called by all of its threads, or by none.
class LoneTeam {
 public:
  std::uint32_t rank() const { return 0; }
  std::uint32_t size() const { return 1; }
  void Sync() {}

  // The block that a thread is in, among those of the team, and the thread among those of its block.
  std::uint32_t block() const { return 0; }
  std::uint32_t blocks() const { return 1; }
  std::uint32_t rank_in_block() const { return 0; }
  std::uint32_t block_size() const { return 1; }
  /// Sync() of the threads of the block alone.
  void SyncBlock() {}

  /// Adds to a number that others add to as well. @return the value before.
  std::uint32_t FetchAdd(std::uint32_t* at, std::uint32_t value) {
    const std::uint32_t before = *at;
    *at += value;
    return before;
  }
  unsigned long long FetchAdd(unsigned long long* at, unsigned long long value) {
    const unsigned long long before = *at;
    *at += value;
    return before;
  }
  std::uint32_t FetchMax(std::uint32_t* at, std::uint32_t value) {
    const std::uint32_t before = *at;
    *at = std::max(before, value);
    return before;
  }

  /// Replaces a number where it is `expected`. @return the value before.
  unsigned long long FetchCompareSwap(unsigned long long* at, unsigned long long expected, unsigned long long value) {
    const unsigned long long before = *at;
    if (before == expected) *at = value;
    return before;
  }

  /// Reads and writes a number that others may change at any time.
  template <class T>
  T LoadShared(const T* at) {
    return *at;
  }
  template <class T>
  void StoreShared(T* at, T value) {
    *at = value;
  }

  /// Adds what every thread has to a number that others add to as well.
  void AddAll(unsigned long long* at, unsigned long long mine) { *at += mine; }
  /// Adds what every thread that `has` something has to number `key` of each of K arrays. Quick where neighbouring
  /// threads have the same key.
  template <int K, class T>
  void AddByKey(bool has, std::uint32_t key, T* const (&arrays)[K], const T (&mine)[K]) {
    for (int k = 0; has && k < K; ++k) arrays[k][key] += mine[k];
  }

  /// The extremes over all threads, known to all. A Sync() in itself.
  HealthSlot Worst(const HealthSlot& mine) { return mine; }
  /// The largest over all threads, known to all. A Sync() in itself.
  std::uint32_t Largest(std::uint32_t mine) { return mine; }

  /// out[i] = in[0] + ... + in[i - 1] for i = 0 .. n. `totals` is scratch. Ends with a Sync().
  void ExclusiveScan(const std::uint32_t* in, std::uint32_t* out, std::uint32_t n, std::uint32_t* /*totals*/) {
    std::uint32_t sum = 0;
    for (std::uint32_t i = 0; i < n; ++i) {
      const std::uint32_t value = in[i];
      out[i] = sum;
      sum += value;
    }
    out[n] = sum;
  }

  /// Calls visit(i, terms) once for every i < n, and sums each of the K terms over all i in an order fixed by n alone;
  /// all threads get the sums. `partials`: scratch of SumScratch(n) * K numbers. A Sync() in itself.
  template <int K, class Visit>
  void Sum(std::uint32_t n, double* /*partials*/, double (&sums)[K], const Visit& visit) {
    for (double& sum : sums) sum = 0;
    for (std::uint32_t i = 0; i < n; ++i) {
      double terms[K] = {};
      visit(i, terms);
      for (int k = 0; k < K; ++k) sums[k] += terms[k];
    }
  }
};

}  // namespace gyrebox::kernels::cuda
