/// Kernels: how many threads of which memory step which bed.
#pragma once

#include "cuda/bed_data.h"
#include "cuda/run_leg.h"
#include "cuda/team.cuh"

namespace gyrebox::kernels::cuda {

/// Threads of a block at most. Three beads a thread and under 85 registers suit the default bed of 1536 beads.
inline constexpr int kResidentThreads = 512;
inline constexpr int kStreamedThreads = 256;

/// What a launch reads and writes, all in device memory.
struct LaunchData {
  const BedPlan* plans;
  BedStatus* statuses;
  StepNumbers* numbers;
  const OwnDriveNumbers* own_numbers;
  const Leg* legs;
  Photograph* photographs;  ///< by slot
};

/// Bytes of shared memory that a resident bed takes.
inline std::size_t ResidentBytes(std::uint32_t stride, std::uint32_t cells) {
  return static_cast<std::size_t>(stride) * (2 * (16 + 4 + 4 + 8) + 4) + 4 * (2 * static_cast<std::size_t>(cells) + 1);
}

/// One block a bed.
template <class Mode>
__global__ void RunResident(LaunchData data);
/// `blocks` blocks a bed.
template <class Mode>
__global__ void RunStreamed(LaunchData data, GridShared* grids, std::uint32_t blocks);

}  // namespace gyrebox::kernels::cuda
