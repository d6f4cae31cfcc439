// The CUDA module: its entry points. Built as a separate library with the CUDA runtime linked in. The only source that
// nvcc compiles: every kernel and its launches lie in one translation unit.
#include <cuda_runtime.h>

#include <cstdio>

#include "cuda/cuda_driver.cuh"

#define GYREBOX_EXPORT extern "C" __attribute__((visibility("default")))

GYREBOX_EXPORT int gyrebox_cuda_version() { return gyrebox::kernels::cuda::kDriverVersion; }

GYREBOX_EXPORT gyrebox::kernels::cuda::Driver* gyrebox_cuda_open(int index, char* reason, std::size_t reason_bytes) {
  int count = 0;
  const cudaError_t error = cudaGetDeviceCount(&count);
  if (error != cudaSuccess || count == 0) {
    std::snprintf(reason, reason_bytes, "%s", error != cudaSuccess ? cudaGetErrorString(error) : "there is no device");
    return nullptr;
  }
  if (index >= count) {
    std::snprintf(reason, reason_bytes, "there is no device %d, only %d of them", index, count);
    return nullptr;
  }
  try {
    return new gyrebox::kernels::cuda::CudaDriver(index);
  } catch (const std::exception& failure) {
    std::snprintf(reason, reason_bytes, "%s", failure.what());
    return nullptr;
  }
}
