/// A Driver on top of the CUDA runtime.
#pragma once

#include <cuda_runtime.h>

#include <algorithm>
#include <new>

#include "cuda/driver.h"
#include "cuda/kernels.cuh"
#include "gyrebox/device.h"

namespace gyrebox::kernels::cuda {
namespace {

// Errors of the request itself. They leave the device usable, unlike errors of running work.
bool IsRefusal(cudaError_t error) {
  switch (error) {
    case cudaErrorInvalidValue:
    case cudaErrorInvalidConfiguration:
    case cudaErrorLaunchOutOfResources:
    case cudaErrorCooperativeLaunchTooLarge:
    case cudaErrorInvalidDeviceFunction:
    case cudaErrorNoKernelImageForDevice:
      return true;
    default:
      return false;
  }
}

void Check(cudaError_t error, const char* what) {
  if (error == cudaSuccess) return;
  if (error == cudaErrorMemoryAllocation) {
    cudaGetLastError();
    throw std::bad_alloc();
  }
  const std::string text = std::string(what) + ": " + cudaGetErrorString(error);
  if (IsRefusal(error)) {
    cudaGetLastError();
    throw LaunchRefused(text);
  }
  throw DeviceLost(text);
}

std::uint32_t RoundUp(std::uint32_t n, std::uint32_t to) { return (n + to - 1) / to * to; }

class CudaDriver : public Driver {
 public:
  explicit CudaDriver(int index) : index_(index) {
    Check(cudaSetDevice(index_), "choosing the device");
    Check(cudaGetDeviceProperties(&properties_, index_), "reading the device's properties");
    Check(cudaStreamCreateWithFlags(&stream_, cudaStreamNonBlocking), "making a queue");
    for (cudaEvent_t& mark : marks_) {
      Check(cudaEventCreateWithFlags(&mark, cudaEventDisableTiming | cudaEventBlockingSync), "making a mark");
    }
    Check(cudaMalloc(&grids_, max_blocks() * sizeof(GridShared)), "taking memory");
    AskForSharedMemory();
  }
  ~CudaDriver() override {
    cudaStreamSynchronize(stream_);
    cudaFree(grids_);
    for (cudaEvent_t mark : marks_) cudaEventDestroy(mark);
    cudaStreamDestroy(stream_);
  }

  DeviceFacts facts() const override {
    std::size_t free_bytes = 0, total_bytes = 0;
    Check(cudaSetDevice(index_), "choosing the device");
    Check(cudaMemGetInfo(&free_bytes, &total_bytes), "asking for memory");
    return {properties_.name,  properties_.multiProcessorCount,        properties_.major,
            properties_.minor, static_cast<std::int64_t>(total_bytes), static_cast<std::int64_t>(free_bytes)};
  }

  void* Allocate(std::size_t bytes) override {
    void* at = nullptr;
    Check(cudaSetDevice(index_), "choosing the device");
    Check(cudaMalloc(&at, bytes), "taking memory");
    // Not needed for correct results, but groups of four partners are read even if a list holds fewer, which sanitizers
    // would report.
    Check(cudaMemsetAsync(at, 0, bytes, stream_), "clearing memory");
    return at;
  }
  void Release(void* at) noexcept override { cudaFree(at); }
  void* AllocatePinned(std::size_t bytes) override {
    void* at = nullptr;
    Check(cudaMallocHost(&at, bytes), "taking pinned memory");
    return at;
  }
  void ReleasePinned(void* at) noexcept override { cudaFreeHost(at); }
  void CopyIn(void* to, const void* from, std::size_t bytes) override {
    Check(cudaMemcpyAsync(to, from, bytes, cudaMemcpyHostToDevice, stream_), "copying to the device");
  }
  void CopyOut(void* to, const void* from, std::size_t bytes) override {
    Check(cudaMemcpyAsync(to, from, bytes, cudaMemcpyDeviceToHost, stream_), "copying from the device");
  }

  void Run(const Launch& launch) override {
    Check(cudaSetDevice(index_), "choosing the device");
    const Kernels kernels = KernelsOf(launch.mode);
    if (launch.resident) {
      // Balances the beads over the threads of a block, to within one bead.
      const std::uint32_t beads = (launch.max_beads + kResidentThreads - 1) / kResidentThreads;
      const std::uint32_t threads = RoundUp((launch.max_beads + beads - 1) / beads, 32);
      kernels.resident<<<launch.n_batches, threads, launch.shared_bytes, stream_>>>(launch.data);
      Check(cudaGetLastError(), "stepping resident beds");
      return;
    }
    Together(launch.wide ? kernels.wide : kernels.streamed, launch, "stepping streamed beds");
  }

  void Measure(const Launch& launch) override {
    Check(cudaSetDevice(index_), "choosing the device");
    if (launch.resident) {
      const std::uint32_t threads = std::min(kMeasureThreads, RoundUp(launch.max_beads, 32));
      MeasureResident<<<launch.n_batches, threads, 0, stream_>>>(launch.data);
      Check(cudaGetLastError(), "measuring resident beds");
      return;
    }
    Together(launch.wide ? MeasureStreamed<WideIndex> : MeasureStreamed<StreamedIndex>, launch,
             "measuring streamed beds");
  }

  void Mark(int which) override { Check(cudaEventRecord(marks_[which], stream_), "setting a mark"); }
  void WaitFor(int which) override { Check(cudaEventSynchronize(marks_[which]), "working on the device"); }
  void Wait() override { Check(cudaStreamSynchronize(stream_), "working on the device"); }

  std::uint32_t max_blocks() const override { return static_cast<std::uint32_t>(properties_.multiProcessorCount) * 8; }

  std::size_t resident_bytes() const override { return resident_bytes_; }

 private:
  // All the shared memory of a block except the static part of the kernels.
  void AskForSharedMemory() {
    int most = 0;
    Check(cudaDeviceGetAttribute(&most, cudaDevAttrMaxSharedMemoryPerBlockOptin, index_), "asking for shared memory");
    std::size_t own = 0;
    const auto for_modes = [](const auto& visit) {
      for (std::int32_t mode = 0; mode < kModeCount; ++mode) visit(KernelsOf(mode).resident);
    };
    for_modes([&](Resident kernel) {
      cudaFuncAttributes attributes;
      Check(cudaFuncGetAttributes(&attributes, kernel), "asking for shared memory");
      own = std::max(own, attributes.sharedSizeBytes);
    });
    resident_bytes_ = static_cast<std::size_t>(most) > own ? static_cast<std::size_t>(most) - own : 0;
    for_modes([&](Resident kernel) {
      Check(
          cudaFuncSetAttribute(kernel, cudaFuncAttributeMaxDynamicSharedMemorySize, static_cast<int>(resident_bytes_)),
          "asking for shared memory");
    });
  }

  // Launches teams of blocks that wait for one another: all blocks must be on the device at the same time.
  void Together(Streamed kernel, const Launch& launch, const char* what) {
    int per_multiprocessor = 0;
    Check(cudaOccupancyMaxActiveBlocksPerMultiprocessor(&per_multiprocessor, kernel, kStreamedThreads, 0), what);
    const auto room = static_cast<std::uint32_t>(per_multiprocessor * properties_.multiProcessorCount);
    const std::uint32_t useful = (launch.max_beads + kStreamedThreads - 1) / kStreamedThreads;
    const std::uint32_t at_once = std::min(launch.n_batches, room);
    std::uint32_t blocks = std::max(1u, std::min({room / at_once, useful, max_blocks()}));
    for (std::uint32_t first = 0; first < launch.n_batches; first += at_once) {
      const std::uint32_t batches = std::min(at_once, launch.n_batches - first);
      Check(cudaMemsetAsync(grids_, 0, batches * sizeof(GridShared), stream_), what);
      LaunchData data = launch.data;
      data.batches += first;
      GridShared* grids = grids_;
      void* arguments[] = {&data, &grids, &blocks};
      Check(cudaLaunchCooperativeKernel(reinterpret_cast<const void*>(kernel), dim3(batches * blocks),
                                        dim3(kStreamedThreads), arguments, 0, stream_),
            what);
    }
  }

  int index_;
  cudaDeviceProp properties_{};
  cudaStream_t stream_ = nullptr;
  cudaEvent_t marks_[2] = {};
  GridShared* grids_ = nullptr;
  std::size_t resident_bytes_ = 0;
};

}  // namespace
}  // namespace gyrebox::kernels::cuda
