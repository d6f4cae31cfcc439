#include "executor/batch.h"

#include <algorithm>
#include <chrono>
#include <exception>
#include <new>
#include <utility>

#include "executor/fault.h"
#include "study/observables.h"
#include "study/run_spec.h"

namespace gyrebox::executor {

Batch::Batch(int64_t study, std::vector<PackedRun> runs)
    : study_(study),
      runs_(std::move(runs)),
      updates_(runs_.size()),
      ended_(runs_.size()),
      told_(runs_.size()),
      checkpoint_steps_(runs_.size()),
      open_(runs_.size()) {
  for (size_t i = 0; i < runs_.size(); ++i) {
    const PackedRun& run = runs_[i];
    frames_.emplace_back(run.frame_steps, run.spec.retry);
    updates_[i].number = run.number;
    updates_[i].faults_passed = run.faults_passed;
    updates_[i].alarm = run.alarm;
    if (!run.resume) continue;
    updates_[i].step = checkpoint_steps_[i] = run.resume->state.step;
    updates_[i].time = static_cast<double>(run.resume->state.step) * run.spec.time_step;
  }
}

std::optional<size_t> Batch::Find(int64_t number) const {
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (runs_[i].number == number && !ended_[i]) return i;
  }
  return std::nullopt;
}

int64_t Batch::open_beads() const {
  int64_t beads = 0;
  for (size_t i = 0; i < runs_.size(); ++i) beads += ended_[i] ? 0 : runs_[i].spec.n_beads;
  return beads;
}

int64_t Batch::BytesOn(const kernels::Device& device) const {
  int64_t bytes = 0;
  for (const PackedRun& run : runs_) bytes += device.BytesOf(run.spec);
  return bytes;
}

std::vector<int64_t> Batch::numbers() const {
  std::vector<int64_t> numbers;
  for (const PackedRun& run : runs_) numbers.push_back(run.number);
  return numbers;
}

void Batch::LayOut(kernels::Device& device) {
  if (done()) return;
  for (;;) {
    try {
      std::vector<kernels::RunSpec> specs;
      for (const PackedRun& run : runs_) specs.push_back(run.spec);
      ensemble_ = device.NewEnsemble(specs);
      for (size_t i = 0; i < runs_.size(); ++i) {
        if (runs_[i].resume) ensemble_->Load(i, runs_[i].resume->state);
      }
      for (PackedRun& run : runs_) {
        if (run.resume) run.resume->state = {};  // it is in the ensemble now
      }
      return;
    } catch (const std::bad_alloc&) {
      if (runs_.size() == 1) return Fail("OUT_OF_MEMORY", "the device has not enough memory for this bed");
      const size_t kept = runs_.size() / 2;
      for (size_t i = kept; i < runs_.size(); ++i) left_out_.push_back(runs_[i].number);
      runs_.resize(kept);
      updates_.resize(kept);
      ended_.resize(kept);
      told_.resize(kept);
      checkpoint_steps_.resize(kept);
      frames_.erase(frames_.begin() + static_cast<std::ptrdiff_t>(kept), frames_.end());
      open_ = kept;
    } catch (const kernels::DeviceLost&) {
      throw;
    } catch (const std::exception& error) {
      return Fail("DEVICE", error.what());
    }
  }
}

std::vector<std::vector<v1::Observable>> Batch::observables() const {
  std::vector<std::vector<v1::Observable>> all;
  for (size_t i = 0; ensemble_ != nullptr && i < runs_.size(); ++i) {
    all.push_back(study::ToObservables(ensemble_->columns(i)));
  }
  return all;
}

void Batch::Advance(ChunkPacer& pacer, RateMeter& rate) {
  const auto begin = RateMeter::Clock::now();
  const int64_t taken = Advance(pacer.steps(), rate);
  pacer.Took(taken, std::chrono::duration<double>(RateMeter::Clock::now() - begin).count());
}

store::Frame Batch::FrameNow(size_t i) const {
  const kernels::RunSpec& spec = runs_[i].spec;
  const kernels::BedState state = ensemble_->Save(i);
  return {.step = state.step,
          .time = static_cast<double>(state.step) * spec.time_step,
          .beads = kernels::BeadsOf(state, spec.side_x, spec.side_y)};
}

int64_t Batch::CutAtFrames(int64_t steps) {
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (ended_[i]) continue;
    const int64_t now = updates_[i].step;
    if (frames_[i].IsDue(now)) frames_[i].Hold(FrameNow(i));
    steps = frames_[i].Cut(now, steps);
  }
  return steps;
}

int64_t Batch::Advance(int64_t steps, RateMeter& rate) {
  try {
    steps = CutAtFrames(steps);
    const auto begin = RateMeter::Clock::now();
    std::vector<kernels::RunChunk> chunks = ensemble_->Advance(steps);
    const auto end = RateMeter::Clock::now();
    double bead_steps = 0;
    for (size_t i = 0; i < chunks.size(); ++i) {
      if (ended_[i]) continue;
      bead_steps += static_cast<double>(runs_[i].spec.n_beads) * static_cast<double>(chunks[i].step - updates_[i].step);
      Take(i, std::move(chunks[i]));
    }
    rate.Add(bead_steps, begin, end);
  } catch (const std::bad_alloc&) {
    Fail("OUT_OF_MEMORY", "memory ran out while the bed was running");
  } catch (const kernels::DeviceLost&) {
    throw;
  } catch (const std::exception& error) {
    Fail("DEVICE", error.what());
  }
  return steps;
}

/// The quantities of several numbers in a row of samples.
static std::vector<store::Block> WideOf(const std::vector<kernels::Column>& columns) {
  std::vector<store::Block> wide;
  size_t place = store::kRowHead;
  for (const kernels::Column& column : columns) {
    const auto width = static_cast<size_t>(column.width);
    if (width > 1) wide.push_back({place, width});
    place += width;
  }
  return wide;
}

void Batch::Take(size_t i, kernels::RunChunk chunk) {
  store::RunUpdate& update = updates_[i];
  frames_[i].Went(update.step, chunk.step, &update.frames);
  update.step = chunk.step;
  update.time = chunk.time;
  if (chunk.fault) update.fault = ToFault(*chunk.fault);
  for (const kernels::Fault& passed : chunk.passed) update.faults_passed.push_back(ToFault(passed));
  if (update.alarm.empty()) update.alarm = std::move(chunk.alarm);
  for (const kernels::Sample& sample : chunk.samples) {
    if (runs_[i].resume && sample.step <= runs_[i].resume->last_sample_step) continue;  // it was its end, once
    if (update.samples.width == 0) update.samples.wide = WideOf(ensemble_->columns(i));
    update.samples.width = store::kRowHead + sample.values.size();
    update.samples.numbers.push_back(static_cast<double>(sample.step));
    update.samples.numbers.push_back(sample.time);
    update.samples.numbers.insert(update.samples.numbers.end(), sample.values.begin(), sample.values.end());
  }
  switch (chunk.verdict) {
    case kernels::Verdict::kRunning:
      return;
    case kernels::Verdict::kFinished:
      updates_[i].end_state = ToBytes(i, ensemble_->Save(i));
      KeepLastFrames(i, frames_[i].IsDue(chunk.step));
      return End(i, v1::Run::STATE_FINISHED);
    case kernels::Verdict::kUnstable:
      // It leaves no state: this shows where it went wrong.
      KeepLastFrames(i, !frames_[i].Holds(chunk.step) && runs_[i].spec.n_beads <= study::kMostFrameBeads);
      return End(i, v1::Run::STATE_UNSTABLE);
    case kernels::Verdict::kFailed:
      return End(i, v1::Run::STATE_FAILED);
    case kernels::Verdict::kDropped:
      return End(i, v1::Run::STATE_CANCELLED);
  }
}

void Batch::KeepLastFrames(size_t i, bool with_this) {
  if (with_this) frames_[i].Hold(FrameNow(i));
  frames_[i].GiveOut(updates_[i].step, &updates_[i].frames);
}

store::BedBytes Batch::ToBytes(size_t i, const kernels::BedState& state) const {
  const kernels::RunSpec& spec = runs_[i].spec;
  const std::vector<std::byte> bytes = kernels::ToBytes(state);
  return {.bytes = std::string(reinterpret_cast<const char*>(bytes.data()), bytes.size()),
          .side_x = spec.side_x,
          .side_y = spec.side_y,
          .step = state.step,
          .time = static_cast<double>(state.step) * spec.time_step};
}

void Batch::SetCheckpoint(size_t i) {
  if (ensemble_ == nullptr) return;
  const kernels::BedState state = ensemble_->Checkpoint(i);
  frames_[i].GiveOut(state.step, &updates_[i].frames);
  if (state.step <= checkpoint_steps_[i]) return;
  checkpoint_steps_[i] = state.step;
  updates_[i].checkpoint = ToBytes(i, state);
}

void Batch::Leave(size_t i, v1::Run::State state, std::optional<v1::Adjustment> entry) {
  SetCheckpoint(i);
  // It goes on from there, which may be behind where it is now.
  updates_[i].step = checkpoint_steps_[i];
  updates_[i].time = static_cast<double>(checkpoint_steps_[i]) * runs_[i].spec.time_step;
  updates_[i].entry = std::move(entry);
  End(i, state);
  ensemble_->Drop(i);
}

void Batch::LeaveAll() {
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (!ended_[i]) Leave(i, v1::Run::STATE_QUEUED);
  }
}

void Batch::End(size_t i, v1::Run::State state) {
  updates_[i].state = state;
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
    v1::Fault& fault = updates_[i].fault.emplace();
    fault.set_reason(reason);
    fault.set_message(message);
    fault.set_step(updates_[i].step);
    fault.set_time(updates_[i].time);
    End(i, v1::Run::STATE_FAILED);
  }
}

std::vector<store::RunUpdate> Batch::TakeUpdates(bool checkpoint) {
  std::vector<store::RunUpdate> taken;
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (told_[i]) continue;
    told_[i] = ended_[i];
    if (checkpoint && !ended_[i]) SetCheckpoint(i);
    taken.push_back(std::move(updates_[i]));
    updates_[i] = store::RunUpdate();
    updates_[i].number = taken.back().number;
    updates_[i].state = taken.back().state;
    updates_[i].step = taken.back().step;
    updates_[i].time = taken.back().time;
    updates_[i].fault = taken.back().fault;
    updates_[i].faults_passed = taken.back().faults_passed;
    updates_[i].alarm = taken.back().alarm;
  }
  has_news_ = false;
  return taken;
}

}  // namespace gyrebox::executor
