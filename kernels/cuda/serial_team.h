/// A team of one thread, on the host: runs the device's passes serially without a device, for tests.
#pragma once

#include <algorithm>
#include <cstdint>

#include "cuda/health.h"

namespace gyrebox::kernels::cuda {

/// A team is the set of threads that step one bed together: a single thread here, a block, or a group of blocks (see
/// team.cuh). All threads of the team must call a method, or none.
class SerialTeam {
 public:
  std::uint32_t rank() const { return 0; }
  std::uint32_t size() const { return 1; }
  void Sync() {}

  // Index of a thread's block in the team, and of the thread in its block.
  std::uint32_t block() const { return 0; }
  std::uint32_t blocks() const { return 1; }
  std::uint32_t rank_in_block() const { return 0; }
  std::uint32_t block_size() const { return 1; }
  /// Sync() for the threads of the block only.
  void SyncBlock() {}

  /// Atomic add. @return the value before.
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

  /// Atomically replaces a number if it equals `expected`. @return the value before.
  unsigned long long FetchCompareSwap(unsigned long long* at, unsigned long long expected, unsigned long long value) {
    const unsigned long long before = *at;
    if (before == expected) *at = value;
    return before;
  }

  /// Reads and writes a number that other threads may change at any time.
  template <class T>
  T LoadShared(const T* at) {
    return *at;
  }
  template <class T>
  void StoreShared(T* at, T value) {
    *at = value;
  }

  /// Atomically adds the values of all threads to a number.
  void AddAll(unsigned long long* at, unsigned long long mine) { *at += mine; }
  /// Atomically adds the values of every thread with `has` to element `key` of each of K arrays. Fast if neighbouring
  /// threads have the same key.
  template <int K, class T>
  void AddByKey(bool has, std::uint32_t key, T* const (&arrays)[K], const T (&mine)[K]) {
    for (int k = 0; has && k < K; ++k) arrays[k][key] += mine[k];
  }

  /// The extremes over all threads, returned to all. Implies a Sync().
  HealthSlot Worst(const HealthSlot& mine) { return mine; }
  /// The largest value over all threads, returned to all. Implies a Sync().
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
  /// all threads get the sums. `partials`: scratch of SumNumbers(n) * K numbers. Implies a Sync().
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
