/// Operations that the laws need on a real type R: float, double, or a SIMD pack of floats. A law is a template over R
/// and compiles for the CPU and for the device from the same source.
///
/// Every function here is always inlined: the CPU backend compiles the laws once per instruction set, and if the linker
/// merged the copies, the wrong one could run.
#pragma once

#include <cmath>
#include <cstdint>

#if defined(__CUDACC__)
#define GYREBOX_HD __host__ __device__ __forceinline__
#else
#define GYREBOX_HD inline __attribute__((always_inline))
#endif

namespace gyrebox::kernels {

/// a b + c with one rounding. Contraction is off everywhere else, so results are the same on every machine.
GYREBOX_HD float Fma(float a, float b, float c) {
#if defined(__CUDA_ARCH__)
  return __fmaf_rn(a, b, c);
#else
  return __builtin_fmaf(a, b, c);
#endif
}
GYREBOX_HD double Fma(double a, double b, double c) {
#if defined(__CUDA_ARCH__)
  return __fma_rn(a, b, c);
#else
  return __builtin_fma(a, b, c);
#endif
}

GYREBOX_HD float Sqrt(float a) { return __builtin_sqrtf(a); }
GYREBOX_HD double Sqrt(double a) { return __builtin_sqrt(a); }

/// Square root of a >= 0. On the device accurate up to the last two bits, at a fifth of the instructions.
GYREBOX_HD float RootOf(float a) {
#if defined(__CUDA_ARCH__)
  float out;
  asm("sqrt.approx.ftz.f32 %0, %1;" : "=f"(out) : "f"(a));
  return out;
#else
  return Sqrt(a);
#endif
}
GYREBOX_HD double RootOf(double a) { return Sqrt(a); }

/// Square root of a > 0 and its inverse; on the device accurate up to the last two bits.
template <class R>
GYREBOX_HD void Root(R a, R& root, R& inverse) {
  root = Sqrt(a);
  inverse = R(1.0) / root;
}
#if defined(__CUDACC__)
GYREBOX_HD void Root(float a, float& root, float& inverse) {
#if defined(__CUDA_ARCH__)
  asm("rsqrt.approx.ftz.f32 %0, %1;" : "=f"(inverse) : "f"(a));
  root = a * inverse;
#else
  root = Sqrt(a);
  inverse = 1 / root;
#endif
}
#endif

template <class R>
GYREBOX_HD R Select(bool take_first, R a, R b) {
  return take_first ? a : b;
}
#if defined(__CUDA_ARCH__)
GYREBOX_HD float Min(float a, float b) { return fminf(a, b); }
GYREBOX_HD float Max(float a, float b) { return fmaxf(a, b); }
#else
GYREBOX_HD float Min(float a, float b) { return a < b ? a : b; }
GYREBOX_HD float Max(float a, float b) { return a > b ? a : b; }
#endif
GYREBOX_HD double Min(double a, double b) { return a < b ? a : b; }
GYREBOX_HD double Max(double a, double b) { return a > b ? a : b; }

/// Integer types that go with a real type.
template <class R>
struct IntegersOf {
  using Signed = std::int32_t;
  using Unsigned = std::uint32_t;
};

/// Value of a signed integer as a real, rounded to nearest.
template <class R>
GYREBOX_HD R ToReal(std::int32_t i) {
  return static_cast<R>(i);
}

GYREBOX_HD std::int32_t AsSigned(std::uint32_t u) { return static_cast<std::int32_t>(u); }
GYREBOX_HD std::uint32_t AsUnsigned(std::int32_t i) { return static_cast<std::uint32_t>(i); }

/// Rounds |a| < 2^31 to the nearest integer, ties to even.
GYREBOX_HD std::int32_t RoundToInt(float a) {
#if defined(__CUDA_ARCH__)
  return __float2int_rn(a);
#else
  return static_cast<std::int32_t>(__builtin_rintf(a));
#endif
}
GYREBOX_HD std::int32_t RoundToInt(double a) { return static_cast<std::int32_t>(__builtin_rint(a)); }

/// 2^i for -126 <= i <= 127.
GYREBOX_HD float PowerOfTwo(std::int32_t i, float) {
  const std::int32_t bits = (i + 127) << 23;
  float out;
  __builtin_memcpy(&out, &bits, sizeof(out));
  return out;
}
GYREBOX_HD double PowerOfTwo(std::int32_t i, double) {
  const std::int64_t bits = (static_cast<std::int64_t>(i) + 1023) << 52;
  double out;
  __builtin_memcpy(&out, &bits, sizeof(out));
  return out;
}

/// Low and high words of the product of two 32-bit numbers.
GYREBOX_HD void MultiplyHighLow(std::uint32_t a, std::uint32_t b, std::uint32_t& high, std::uint32_t& low) {
  const std::uint64_t product = static_cast<std::uint64_t>(a) * b;
  high = static_cast<std::uint32_t>(product >> 32);
  low = static_cast<std::uint32_t>(product);
}

}  // namespace gyrebox::kernels
