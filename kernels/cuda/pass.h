/// How passes over a bed are compiled.
#pragma once

/// A pass over a bed: device code; host code if compiled without a device compiler (see serial_team.h).
#if defined(__CUDACC__)
#define GYREBOX_PASS __device__ __forceinline__
/// The same for rarely executed code, not inlined so that its registers do not burden the caller.
#define GYREBOX_RARE __device__ __noinline__
#else
#define GYREBOX_PASS inline
#define GYREBOX_RARE inline
#endif
