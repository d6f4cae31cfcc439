#include "cuda/ensemble.h"

#include <tbb/parallel_for.h>

#include <algorithm>

#include "cuda/round.h"

namespace gyrebox::kernels::cuda {

CudaEnsemble::CudaEnsemble(std::span<const RunSpec> specs, std::shared_ptr<Driver> driver)
    : driver_(std::move(driver)), plans_(*driver_), statuses_(*driver_) {
  for (std::unique_ptr<Round>& round : rounds_) {
    round = std::make_unique<Round>(*driver_, &round == &rounds_[0] ? 0 : 1);
  }
  std::vector<StartState> starts(specs.size());
  tbb::parallel_for(std::size_t{0}, specs.size(), [&](std::size_t i) { starts[i] = GenerateInitialState(specs[i]); });
  for (std::size_t i = 0; i < specs.size(); ++i) {
    beds_.push_back(std::make_unique<DeviceBed>(*driver_, specs[i], starts[i]));
    starts[i] = {};
  }
  goals_.resize(beds_.size());
  statuses_.Resize(beds_.size());
  for (std::size_t i = 0; i < beds_.size(); ++i) statuses_[i] = beds_[i]->status();
  statuses_.Send();
  SendPlans();
}

// Waits, because running work may still read the memory that is about to be released.
CudaEnsemble::~CudaEnsemble() {
  try {
    driver_->Wait();
  } catch (const std::exception&) {  // the next user of the device gets the error
  }
}

void CudaEnsemble::SendPlans() {
  plans_.Resize(beds_.size());
  for (std::size_t i = 0; i < beds_.size(); ++i) plans_[i] = beds_[i]->plan();
  plans_.Send();
  driver_->Wait();
}

void CudaEnsemble::SendStatus(std::size_t bed) {
  statuses_[bed] = beds_[bed]->status();
  driver_->CopyIn(statuses_.there() + bed, &statuses_[bed], sizeof(BedStatus));
  driver_->Wait();
}

// Whether a bed can take more steps without action by the host.
bool CudaEnsemble::Goes(std::size_t bed) const {
  const Course& course = beds_[bed]->course();
  const Goal& goal = goals_[bed];
  return course.running() && !goal.closed && !goal.stopped && (course.step() < goal.step || course.at_end()) &&
         !course.keep_is_due();
}

std::vector<RunChunk> CudaEnsemble::Advance(std::int64_t steps) {
  std::vector<RunChunk> chunks(beds_.size());
  for (std::size_t i = 0; i < beds_.size(); ++i) {
    const Course& course = beds_[i]->course();
    goals_[i] = {std::min(course.step() + steps, course.spec().n_steps), false, false};
  }
  for (bool more = true; more;) {
    Round* under_way = nullptr;
    for (int turn = 0;; turn ^= 1) {
      Round& next = *rounds_[turn];
      const bool planned = Plan(next);
      if (planned) Enqueue(next);
      if (under_way != nullptr) Collect(*under_way, chunks);
      under_way = planned ? &next : nullptr;
      if (!planned) break;
    }
    Settle(chunks);
    more = false;
    for (std::size_t i = 0; i < beds_.size(); ++i) more |= Goes(i);
  }
  for (std::size_t i = 0; i < beds_.size(); ++i) beds_[i]->course().Close(chunks[i]);
  return chunks;
}

// Once the device is idle: handles the beds that it stopped, keeps states that are due, and closes runs.
void CudaEnsemble::Settle(std::vector<RunChunk>& chunks) {
  driver_->Wait();
  for (std::size_t i = 0; i < beds_.size(); ++i) {
    DeviceBed& bed = *beds_[i];
    Course& course = bed.course();
    if (!course.running()) continue;
    if (goals_[i].stopped) {
      goals_[i].stopped = false;
      if (bed.status().stop == Stop::kListFull) {
        bed.GrowLists(bed.status().max_partners);
        bed.status().stop = Stop::kNone;
        SendPlans();
        SendStatus(i);
        continue;
      }
      bed.DescribeFault();
      course.Warning(bed.status().residual, course.time(), chunks[i]);
      const BedState* kept = course.Retry(chunks[i]);
      if (kept == nullptr) continue;
      const BedState state = *kept;
      Load(i, state);
      course.GoOnHalved();
      goals_[i].step = course.step();  // its chunk ends here
    } else if (goals_[i].closed) {
      course.Finish();
    } else if (course.keep_is_due()) {
      course.Keep(bed.Save(), chunks[i]);
    }
  }
}

void CudaEnsemble::Load(std::size_t run, const BedState& state) {
  DeviceBed& bed = *beds_[run];
  bed.BeginLoad(state);
  for (;;) {
    SendPlans();
    SendStatus(run);
    // Rebuild the lists at the positions of their last build.
    Round& round = *rounds_[0];
    round.Clear(beds_.size());
    round.planned_requests.resize(1);
    round.planned.steps.resize(1);
    StepBatch batch;
    batch.bed = static_cast<std::uint32_t>(run);
    batch.prepare = true;
    AddLaunch(round, ModeOf(bed, true), {batch});
    Enqueue(round);
    driver_->Wait();
    bed.status() = round.statuses[run];
    if (bed.status().stop != Stop::kListFull) break;
    bed.GrowLists(bed.status().max_partners);
    bed.status().stop = Stop::kNone;
  }
  bed.FinishLoad(state);
  SendStatus(run);
}

Ensemble::RebuildStats CudaEnsemble::rebuilds() const {
  RebuildStats stats;
  for (const auto& bed : beds_) stats.count += static_cast<std::int64_t>(bed->status().rebuilds);
  return stats;
}

}  // namespace gyrebox::kernels::cuda
