/// SIMD packs: kWidth floats, signed or unsigned integers in one register, so that the laws in model/ run on kWidth
/// beads at once. Only sources compiled for one instruction set, named in GYREBOX_ISA, include this file. Everything
/// here lives in that namespace; otherwise the linker could pick AVX-512 code on a machine without it.
#pragma once

#include <immintrin.h>

#include "model/real.h"

namespace gyrebox::kernels::GYREBOX_ISA {

#if defined(__AVX512F__)
inline constexpr int kWidth = 16;
#else
inline constexpr int kWidth = 8;
#endif

#define GYREBOX_LANES __attribute__((vector_size(4 * kWidth)))
using FloatLanes = float GYREBOX_LANES;
using IntLanes = std::int32_t GYREBOX_LANES;
using WordLanes = std::uint32_t GYREBOX_LANES;
#undef GYREBOX_LANES

/// True or false in every lane.
struct Mask {
  IntLanes v;  // all ones or all zeros
};

struct Int {
  IntLanes v;
};

struct Word {
  WordLanes v;
  GYREBOX_HD explicit Word(std::uint32_t scalar) : v(scalar - WordLanes{}) {}
  GYREBOX_HD explicit Word(WordLanes lanes) : v(lanes) {}
  Word() = default;
};

struct Real {
  FloatLanes v;
  GYREBOX_HD explicit Real(double scalar) : v(static_cast<float>(scalar) - FloatLanes{}) {}
  GYREBOX_HD explicit Real(FloatLanes lanes) : v(lanes) {}
  Real() = default;
};

GYREBOX_HD Real operator+(Real a, Real b) { return Real(a.v + b.v); }
GYREBOX_HD Real operator-(Real a, Real b) { return Real(a.v - b.v); }
GYREBOX_HD Real operator-(Real a) { return Real(-a.v); }
GYREBOX_HD Real operator*(Real a, Real b) { return Real(a.v * b.v); }
GYREBOX_HD Real operator/(Real a, Real b) { return Real(a.v / b.v); }
GYREBOX_HD Mask operator<(Real a, Real b) { return {a.v < b.v}; }

GYREBOX_HD Word operator+(Word a, Word b) { return Word(a.v + b.v); }
GYREBOX_HD Word operator-(Word a, Word b) { return Word(a.v - b.v); }
GYREBOX_HD Word operator^(Word a, Word b) { return Word(a.v ^ b.v); }
GYREBOX_HD Word operator&(Word a, Word b) { return Word(a.v & b.v); }
GYREBOX_HD Mask operator<(Word a, Word b) { return {a.v < b.v}; }
GYREBOX_HD Mask operator==(Word a, Word b) { return {a.v == b.v}; }
GYREBOX_HD Mask operator&(Mask a, Mask b) { return {a.v & b.v}; }

GYREBOX_HD Real Select(Mask m, Real a, Real b) { return Real(m.v ? a.v : b.v); }
GYREBOX_HD Word Select(Mask m, Word a, Word b) { return Word(m.v ? a.v : b.v); }
GYREBOX_HD Int AsSigned(Word a) { return {(IntLanes)a.v}; }
GYREBOX_HD Word AsUnsigned(Int a) { return Word((WordLanes)a.v); }

#if defined(__AVX512F__)
GYREBOX_HD Real Fma(Real a, Real b, Real c) { return Real((FloatLanes)_mm512_fmadd_ps(a.v, b.v, c.v)); }
GYREBOX_HD Real Sqrt(Real a) { return Real((FloatLanes)_mm512_sqrt_ps(a.v)); }
GYREBOX_HD Real Min(Real a, Real b) { return Real((FloatLanes)_mm512_min_ps(a.v, b.v)); }
GYREBOX_HD Real Max(Real a, Real b) { return Real((FloatLanes)_mm512_max_ps(a.v, b.v)); }
GYREBOX_HD Int RoundToInt(Real a) { return {(IntLanes)_mm512_cvtps_epi32(a.v)}; }
GYREBOX_HD void MultiplyHighLow(Word a, Word b, Word& high, Word& low) {
  const __m512i even = _mm512_mul_epu32((__m512i)a.v, (__m512i)b.v);
  const __m512i odd = _mm512_mul_epu32(_mm512_srli_epi64((__m512i)a.v, 32), _mm512_srli_epi64((__m512i)b.v, 32));
  high.v = (WordLanes)_mm512_mask_blend_epi32(0xAAAA, _mm512_srli_epi64(even, 32), odd);
  low.v = (WordLanes)_mm512_mask_blend_epi32(0xAAAA, even, _mm512_slli_epi64(odd, 32));
}
GYREBOX_HD std::uint32_t Bits(Mask m) { return static_cast<std::uint32_t>(_mm512_movepi32_mask((__m512i)m.v)); }
#else
GYREBOX_HD Real Fma(Real a, Real b, Real c) { return Real((FloatLanes)_mm256_fmadd_ps(a.v, b.v, c.v)); }
GYREBOX_HD Real Sqrt(Real a) { return Real((FloatLanes)_mm256_sqrt_ps(a.v)); }
GYREBOX_HD Real Min(Real a, Real b) { return Real((FloatLanes)_mm256_min_ps(a.v, b.v)); }
GYREBOX_HD Real Max(Real a, Real b) { return Real((FloatLanes)_mm256_max_ps(a.v, b.v)); }
GYREBOX_HD Int RoundToInt(Real a) { return {(IntLanes)_mm256_cvtps_epi32(a.v)}; }
GYREBOX_HD void MultiplyHighLow(Word a, Word b, Word& high, Word& low) {
  const __m256i even = _mm256_mul_epu32((__m256i)a.v, (__m256i)b.v);
  const __m256i odd = _mm256_mul_epu32(_mm256_srli_epi64((__m256i)a.v, 32), _mm256_srli_epi64((__m256i)b.v, 32));
  high.v = (WordLanes)_mm256_blend_epi32(_mm256_srli_epi64(even, 32), odd, 0xAA);
  low.v = (WordLanes)_mm256_blend_epi32(even, _mm256_slli_epi64(odd, 32), 0xAA);
}
GYREBOX_HD std::uint32_t Bits(Mask m) { return static_cast<std::uint32_t>(_mm256_movemask_ps((__m256)m.v)); }
#endif

GYREBOX_HD Real RootOf(Real a) { return Sqrt(a); }
GYREBOX_HD Real PowerOfTwo(Int i, Real) { return Real((FloatLanes)((i.v + 127) << 23)); }
template <class R>
GYREBOX_HD R ToReal(Int i) {
  return R(__builtin_convertvector(i.v, FloatLanes));
}

template <class T>
GYREBOX_HD T LoadLanes(const void* at) {
  T out;
  __builtin_memcpy(&out.v, at, sizeof(out.v));
  return out;
}
template <class T>
GYREBOX_HD void StoreLanes(void* at, T lanes) {
  __builtin_memcpy(at, &lanes.v, sizeof(lanes.v));
}

/// 0, 1, 2, ... kWidth - 1.
GYREBOX_HD Word LaneNumbers() {
  WordLanes v;
  for (int lane = 0; lane < kWidth; ++lane) v[lane] = static_cast<std::uint32_t>(lane);
  return Word(v);
}

/// Smallest and largest lane, independent of the order of the lanes.
GYREBOX_HD float SmallestLane(Real a) {
  float out = a.v[0];
  for (int lane = 1; lane < kWidth; ++lane) out = kernels::Min(out, a.v[lane]);
  return out;
}
GYREBOX_HD float LargestLane(Real a) {
  float out = a.v[0];
  for (int lane = 1; lane < kWidth; ++lane) out = kernels::Max(out, a.v[lane]);
  return out;
}

}  // namespace gyrebox::kernels::GYREBOX_ISA
