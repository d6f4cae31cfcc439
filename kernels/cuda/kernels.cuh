/// The kernels: what a launch does on the device.
#pragma once

#include "cuda/launch_passes.h"
#include "cuda/modes.h"
#include "cuda/resident.h"
#include "cuda/team.cuh"

namespace gyrebox::kernels::cuda {
namespace {

// Max threads per block. 768 threads of two beads each suit the default bed of 1536 beads.
constexpr std::uint32_t kResidentThreads = 768;
constexpr std::uint32_t kStreamedThreads = 256;
constexpr std::uint32_t kMeasureThreads = 512;
// Streamed blocks per multiprocessor: more of them hide more memory latency, but have fewer registers each. The best
// values were measured; see tests/bench/RESULTS.md.
template <class Mode>
constexpr int kStreamedBlocks = Mode::kConverged ? 3 : 4;

extern __shared__ __align__(16) unsigned char shared_memory[];

// Shared memory of a plan, which has initializers that a shared variable cannot have.
struct PlanShared {
  alignas(16) std::uint32_t words[sizeof(BedPlan) / 4];
};
static_assert(sizeof(PlanShared::words) == sizeof(BedPlan));

// Copies the plan of a bed to shared memory, from which all threads read it.
__device__ const BedPlan& SharedPlan(const BedPlan& plan, PlanShared& shared) {
  const auto* from = reinterpret_cast<const std::uint32_t*>(&plan);
  for (std::uint32_t i = threadIdx.x; i < sizeof(BedPlan) / 4; i += blockDim.x) shared.words[i] = from[i];
  __syncthreads();
  return *reinterpret_cast<const BedPlan*>(shared.words);
}

// One block per bed, whose shared memory holds the bed during the batch.
template <class Mode>
__global__ void __launch_bounds__(kResidentThreads, 1) RunResident(LaunchData data) {
  __shared__ BlockShared block_shared;
  __shared__ PlanShared plan_shared;
  const StepBatch batch = data.batches[blockIdx.x];
  BedStatus status = data.statuses[batch.bed];
  if (status.stop != Stop::kNone) return;
  const BedPlan& plan = SharedPlan(data.plans[batch.bed], plan_shared);
  BlockTeam team(block_shared);
  BedView<ResidentIndex> bed(plan);
  const ResidentArrays arrays(shared_memory, plan.stride, static_cast<std::uint32_t>(plan.grid.count()));
  arrays.Enter(team, status, bed);

  Probe probe;
  StepBed<Mode>(team, bed, data, batch, status, probe);
  arrays.Leave(team, status, bed);
  StoreResults(team, data, batch, status, probe);
}

// `blocks` blocks per bed, which stays in device memory.
template <class Mode, class Index>
__global__ void __launch_bounds__(kStreamedThreads, kStreamedBlocks<Mode>)
    RunStreamed(LaunchData data, GridShared* grids, std::uint32_t blocks) {
  __shared__ BlockShared block_shared;
  __shared__ PlanShared plan_shared;
  const std::uint32_t which = blockIdx.x / blocks;
  const StepBatch batch = data.batches[which];
  BedStatus status = data.statuses[batch.bed];
  if (status.stop != Stop::kNone) return;
  const BedPlan& plan = SharedPlan(data.plans[batch.bed], plan_shared);
  GridTeam team(block_shared, grids[which], blockIdx.x % blocks, blocks);
  BedView<Index> bed(plan);
  Probe probe;
  StepBed<Mode>(team, bed, data, batch, status, probe);
  StoreResults(team, data, batch, status, probe);
}

__global__ void __launch_bounds__(kMeasureThreads, 1) MeasureResident(LaunchData data) {
  __shared__ BlockShared block_shared;
  __shared__ MeasureBlock measure_block;
  __shared__ PlanShared plan_shared;
  const StepBatch batch = data.batches[blockIdx.x];
  if (!WasProbed(data, batch)) return;
  const BedPlan& plan = SharedPlan(data.plans[batch.bed], plan_shared);
  BlockTeam team(block_shared);
  MeasureBatch<ResidentIndex>(team, measure_block, data, batch, plan);
}

template <class Index>
__global__ void __launch_bounds__(kStreamedThreads, 2)
    MeasureStreamed(LaunchData data, GridShared* grids, std::uint32_t blocks) {
  __shared__ BlockShared block_shared;
  __shared__ MeasureBlock measure_block;
  __shared__ PlanShared plan_shared;
  const std::uint32_t which = blockIdx.x / blocks;
  const StepBatch batch = data.batches[which];
  if (!WasProbed(data, batch)) return;
  const BedPlan& plan = SharedPlan(data.plans[batch.bed], plan_shared);
  GridTeam team(block_shared, grids[which], blockIdx.x % blocks, blocks);
  MeasureBatch<Index>(team, measure_block, data, batch, plan);
}

using Resident = void (*)(LaunchData);
using Streamed = void (*)(LaunchData, GridShared*, std::uint32_t);

/// The kernels of a mode, by the memory that holds the bed and the entries of its lists.
struct Kernels {
  Resident resident;
  Streamed streamed, wide;
};
template <class Mode>
constexpr Kernels KernelsOf() {
  return {RunResident<Mode>, RunStreamed<Mode, StreamedIndex>, RunStreamed<Mode, WideIndex>};
}
Kernels KernelsOf(std::int32_t mode) {
  return WithMode(mode, [](auto traits) { return KernelsOf<decltype(traits)>(); });
}

}  // namespace
}  // namespace gyrebox::kernels::cuda
