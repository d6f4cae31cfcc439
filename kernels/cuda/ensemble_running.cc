#include <tbb/parallel_for.h>

#include <algorithm>

#include "cuda/columns.h"
#include "cuda/ensemble.h"
#include "cuda/round.h"

namespace gyrebox::kernels::cuda {

void CudaEnsemble::Enqueue(Round& round) {
  round.requests.Set(round.planned_requests);
  round.settings.Set(round.planned.steps);
  round.own_drives.Set(round.planned.own_drives);
  if (round.planned_requests.size() > round.numbers_room) {
    driver_->Wait();
    round.numbers_room = round.planned_requests.size() * 3 / 2;
    round.numbers.reset();
    round.numbers = std::make_unique<DeviceBlock>(*driver_, round.numbers_room * sizeof(StepNumbers));
  }
  round.batches.Set(round.planned_batches);
  round.probes.Resize(round.pending.size());
  round.measured.Resize(round.pending.size());
  round.statuses.Resize(beds_.size());
  std::fill(round.probes.here().begin(), round.probes.here().end(), Probe());
  round.probes.Send();
  for (const Round::PlannedLaunch& planned : round.launches) {
    Launch launch = planned.launch;
    launch.data = {plans_.there(),
                   statuses_.there(),
                   round.requests.there(),
                   round.settings.there(),
                   static_cast<StepNumbers*>(round.numbers->at()),
                   round.own_drives.there(),
                   round.batches.there() + planned.first_batch,
                   round.probes.there(),
                   round.measured.there()};
    driver_->Run(launch);
    if (planned.measure) driver_->Measure(launch);
  }
  round.probes.Fetch();
  round.measured.Fetch();
  driver_->CopyOut(round.statuses.here().data(), statuses_.there(), beds_.size() * sizeof(BedStatus));
  driver_->Mark(round.mark);
}

void CudaEnsemble::Collect(Round& round, std::vector<RunChunk>& chunks) {
  driver_->WaitFor(round.mark);
  std::vector<Sample> samples(round.pending.size());
  tbb::parallel_for(std::size_t{0}, round.pending.size(), [&](std::size_t k) {
    const Round::Pending& pending = round.pending[k];
    if (!round.probes[pending.slot].taken) return;
    samples[k] = {pending.moment.step, pending.moment.time,
                  ColumnsOf(round.measured[pending.slot], round.probes[pending.slot],
                            beds_[pending.bed]->course().spec(), pending.moment.temperature, pending.moment.whole)};
  });
  for (std::size_t k = 0; k < round.pending.size(); ++k) {
    const Round::Pending& pending = round.pending[k];
    if (!round.probes[pending.slot].taken) continue;
    Course& course = beds_[pending.bed]->course();
    course.Hold(std::move(samples[k]));
    beds_[pending.bed]->samples_stand(pending.moment.step);
    course.Warning(round.probes[pending.slot].residual, pending.moment.time, chunks[pending.bed]);
  }
  for (std::size_t i = 0; i < beds_.size(); ++i) {
    if (!round.starts[i] || goals_[i].stopped) continue;
    DeviceBed& bed = *beds_[i];
    bed.status() = round.statuses[i];
    if (bed.status().stop == Stop::kNone) continue;
    goals_[i].stopped = true;
    goals_[i].closed = false;
    bed.RewindTo(*round.starts[i]);
  }
}

}  // namespace gyrebox::kernels::cuda
