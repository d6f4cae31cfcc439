/// What a launch does for one bed, whatever its team and the memory that holds it.
#pragma once

#include "cuda/driver.h"
#include "cuda/measure.h"
#include "cuda/step_batch.h"

namespace gyrebox::kernels::cuda {

/// Takes the batch of a bed. Ends with a Sync().
template <class Mode, class Team, class Index>
GYREBOX_PASS void StepBed(Team& team, BedView<Index>& bed, const LaunchData& data, const StepBatch& batch,
                          BedStatus& status, Probe& probe) {
  ExpandStepRequests(team, bed.plan, batch.substeps, data.requests + batch.first_number, data.settings,
                     data.numbers + batch.first_number);
  StepBatchRunner<Mode, Team, Index> runner(team, bed, data.numbers + batch.first_number, data.own_numbers);
  runner.Run(batch, status, probe);
  team.Sync();
}

/// Writes what a batch has led to.
template <class Team>
GYREBOX_PASS void StoreResults(Team& team, const LaunchData& data, const StepBatch& batch, const BedStatus& status,
                               const Probe& probe) {
  if (team.rank() != 0) return;
  data.statuses[batch.bed] = status;
  if (batch.slot >= 0) data.probes[batch.slot] = probe;
}

/// Whether a bed is to be measured.
GYREBOX_PASS bool WasProbed(const LaunchData& data, const StepBatch& batch) {
  return batch.slot >= 0 && data.probes[batch.slot].taken;
}

/// Measures a probed bed. @param block of the thread's block.
template <class Index, class Team>
GYREBOX_PASS void MeasureBatch(Team& team, MeasureBlock& block, const LaunchData& data, const StepBatch& batch,
                               const BedPlan& plan) {
  BedView<Index> bed(plan);
  bed.half = data.statuses[batch.bed].half;
  MeasureMemory memory = MeasureMemoryIn(bed);
  memory.block = &block;
  MeasureBed(team, bed, data.numbers[batch.first_number + batch.substeps], data.own_numbers, batch.whole, memory,
             data.measured[batch.slot]);
}

}  // namespace gyrebox::kernels::cuda
