// How the runs of a batch end or leave the device, and what is recorded of them.
#include <utility>

#include "executor/batch.h"
#include "executor/steer_rules.h"

namespace gyrebox::executor {

void Batch::KeepLastFrames(size_t i, bool with_this) {
  if (with_this) frames_[i].Hold(FrameNow(i));
  frames_[i].GiveOut(step(i), &records_[i].update.frames);
}

void Batch::SetCheckpoint(size_t i) {
  if (!initialized()) return;
  kernels::BedState state = ensemble_->Checkpoint(i);
  frames_[i].GiveOut(state.step, &records_[i].update.frames);
  if (state.step <= checkpoint_steps_[i]) return;
  checkpoint_steps_[i] = state.step;
  records_[i].checkpoint = Bed(i, std::move(state));
}

void Batch::Evict(size_t i, v1::Run::State state, std::optional<v1::Adjustment> entry) {
  SetCheckpoint(i);
  // The run resumes at its checkpoint, which may be before the current step.
  store::RunUpdate& update = records_[i].update;
  update.step = checkpoint_steps_[i];
  update.time = static_cast<double>(checkpoint_steps_[i]) * runs_[i].spec.time_step;
  update.entry = std::move(entry);
  End(i, state);
  if (initialized()) ensemble_->Drop(i);
}

void Batch::LeaveAll() {
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (!ended_[i]) Evict(i, v1::Run::STATE_QUEUED);
  }
}

void Batch::HoldAll(const std::string& why) {
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (!ended_[i]) Evict(i, v1::Run::STATE_PAUSED, ServerPause(step(i), runs_[i].spec.time_step, why));
  }
}

void Batch::End(size_t i, v1::Run::State state) {
  records_[i].update.state = state;
  ended_[i] = true;
  has_news_ = true;
  --open_;
}

void Batch::Cancel() {
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (!ended_[i]) End(i, v1::Run::STATE_CANCELLED);
  }
}

void Batch::Fail(const std::string& reason, const std::string& message) {
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (ended_[i]) continue;
    store::RunUpdate& update = records_[i].update;
    v1::Fault& fault = update.fault.emplace();
    fault.set_reason(reason);
    fault.set_message(message);
    fault.set_step(update.step);
    fault.set_time(update.time);
    End(i, v1::Run::STATE_FAILED);
  }
}

std::vector<RunRecord> Batch::TakeRecords(bool checkpoint) {
  // Checkpoints may fail, so take them first; on failure no record is taken.
  for (size_t i = 0; checkpoint && initialized() && i < runs_.size(); ++i) {
    if (!ended_[i]) SetCheckpoint(i);
  }
  std::vector<RunRecord> taken;
  taken.reserve(runs_.size());
  for (size_t i = 0; i < runs_.size(); ++i) {
    // Before initialisation a run has nothing to record except its end.
    if (told_[i] || (!initialized() && !ended_[i])) continue;
    told_[i] = ended_[i];
    taken.push_back(std::exchange(records_[i], {}));
    const store::RunUpdate& last = taken.back().update;
    store::RunUpdate& next = records_[i].update;
    next.number = last.number;
    next.state = last.state;
    next.step = last.step;
    next.time = last.time;
    next.fault = last.fault;
    next.recovered_faults = last.recovered_faults;
    next.warning = last.warning;
  }
  has_news_ = false;
  return taken;
}

}  // namespace gyrebox::executor
