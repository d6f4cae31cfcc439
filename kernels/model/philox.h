/// Philox counter-based random numbers (Salmon, Moraes, Dror, Shaw, SC11, doi:10.1145/2063384.2063405).
/// Every number is a pure function of a counter and a key: nothing is stored, and every machine reproduces it.
#pragma once

#include "model/real.h"

namespace gyrebox::kernels {

template <class U>
struct Words2 {
  U a, b;
};
template <class U>
struct Words4 {
  U a, b, c, d;
};

/// Philox2x32 with `Rounds` rounds. U: std::uint32_t or a SIMD pack of them.
template <int Rounds, class U>
GYREBOX_HD Words2<U> Philox2x32(Words2<U> counter, U key) {
#pragma unroll
  for (int round = 0; round < Rounds; ++round) {
    U high, low;
    MultiplyHighLow(U(0xD256D193u), counter.a, high, low);
    counter.a = high ^ key ^ counter.b;
    counter.b = low;
    key = key + U(0x9E3779B9u);
  }
  return counter;
}

/// Philox4x32 with `Rounds` rounds.
template <int Rounds, class U>
GYREBOX_HD Words4<U> Philox4x32(Words4<U> counter, Words2<U> key) {
#pragma unroll
  for (int round = 0; round < Rounds; ++round) {
    U high0, low0, high1, low1;
    MultiplyHighLow(U(0xD2511F53u), counter.a, high0, low0);
    MultiplyHighLow(U(0xCD9E8D57u), counter.c, high1, low1);
    counter = {high1 ^ counter.b ^ key.a, low1, high0 ^ counter.d ^ key.b, low0};
    key = {key.a + U(0x9E3779B9u), key.b + U(0xBB67AE85u)};
  }
  return counter;
}

}  // namespace gyrebox::kernels
