#include "executor/batch.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <chrono>
#include <exception>
#include <new>
#include <utility>

#include "executor/fault.h"
#include "executor/steer_rules.h"
#include "study/observables.h"
#include "study/run_spec.h"

namespace gyrebox::executor {

store::BedBytes ToBytes(const BedNow& bed) {
  const std::vector<std::byte> bytes = kernels::ToBytes(bed.state);
  return {.bytes = std::string(reinterpret_cast<const char*>(bytes.data()), bytes.size()),
          .side_x = bed.side_x,
          .side_y = bed.side_y,
          .step = bed.state.step,
          .time = static_cast<double>(bed.state.step) * bed.time_step};
}

store::RunUpdate ToUpdate(const RunRecord& record) {
  store::RunUpdate update = record.update;
  if (record.checkpoint) update.checkpoint = ToBytes(*record.checkpoint);
  if (record.end_state) update.end_state = ToBytes(*record.end_state);
  return update;
}

Batch::Batch(int64_t study, std::vector<PackedRun> runs)
    : study_(study),
      runs_(std::move(runs)),
      records_(runs_.size()),
      ended_(runs_.size()),
      told_(runs_.size()),
      checkpoint_steps_(runs_.size()),
      open_(runs_.size()) {
  for (size_t i = 0; i < runs_.size(); ++i) {
    const PackedRun& run = runs_[i];
    frames_.emplace_back(run.frame_steps, run.spec.retry);
    store::RunUpdate& update = records_[i].update;
    update.number = run.number;
    update.recovered_faults = run.recovered_faults;
    update.warning = run.warning;
    if (!run.resume) continue;
    update.step = checkpoint_steps_[i] = run.resume->state.step;
    update.time = static_cast<double>(run.resume->state.step) * run.spec.time_step;
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

std::vector<int64_t> Batch::open_numbers() const {
  std::vector<int64_t> numbers;
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (!ended_[i]) numbers.push_back(runs_[i].number);
  }
  return numbers;
}

std::vector<kernels::RunSpec> Batch::specs() const {
  std::vector<kernels::RunSpec> specs;
  for (const PackedRun& run : runs_) specs.push_back(run.spec);
  return specs;
}

template <class Work>
void Batch::Try(const Work& work) {
  try {
    work();
  } catch (const std::bad_alloc&) {
    short_of_memory_ = true;
  } catch (const kernels::DeviceLost&) {
    throw;
  } catch (const std::exception& error) {
    Fail("DEVICE", error.what());
  }
}

void Batch::Initialize(kernels::Device& device, AsyncInitialization& ahead) {
  Try([&] {
    const Starts all = ahead.Take();
    for (size_t i = 0; i < runs_.size(); ++i) runs_[i].spec.start.initial = all[i];
    MakeEnsemble(device);
  });
}

void Batch::MakeEnsemble(kernels::Device& device) {
  auto ensemble = device.NewEnsemble(specs());
  for (size_t i = 0; i < runs_.size(); ++i) {
    runs_[i].spec.start.initial.reset();
    if (ended_[i]) ensemble->Drop(i);
    if (!ended_[i] && runs_[i].resume) ensemble->Load(i, runs_[i].resume->state);
  }
  for (PackedRun& run : runs_) {
    if (run.resume) run.resume->state = {};  // the ensemble holds it now
  }
  ensemble_ = std::move(ensemble);
}

void Batch::Rollback() {
  ensemble_.reset();
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (ended_[i]) continue;
    records_[i] = {};
    ended_[i] = told_[i] = true;
    --open_;
  }
}

void Batch::FailForMemory(const kernels::Device& device) {
  Fail("OUT_OF_MEMORY", "this bed needs " + std::to_string(BytesOn(device)) +
                            " bytes of device memory, and more where its beads crowd; the device has " +
                            std::to_string(device.memory_bytes()) + " bytes for beds in all, and they ran out");
}

void Batch::Adjust(size_t i, const kernels::Adjustment& adjustment) {
  if (initialized()) {
    ensemble_->Adjust(i, adjustment);
    return;
  }
  auto& all = runs_[i].spec.adjustments;
  const auto after = std::upper_bound(all.begin(), all.end(), adjustment.step,
                                      [](int64_t step, const kernels::Adjustment& a) { return step < a.step; });
  all.insert(after, adjustment);
}

void Batch::EndAt(size_t i, int64_t step) {
  if (initialized()) {
    ensemble_->EndAt(i, step);
  } else {
    runs_[i].spec.n_steps = step;
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
    const int64_t now = step(i);
    if (frames_[i].IsDue(now)) frames_[i].Hold(FrameNow(i));
    steps = frames_[i].Cut(now, steps);
  }
  return steps;
}

int64_t Batch::Advance(int64_t steps, RateMeter& rate) {
  Try([&] {
    steps = CutAtFrames(steps);
    const auto begin = RateMeter::Clock::now();
    std::vector<kernels::RunChunk> chunks = ensemble_->Advance(steps);
    const auto end = RateMeter::Clock::now();
    // Copied in parallel: the samples of many runs are megabytes, and the device waits for the copy.
    tbb::parallel_for(size_t{0}, chunks.size(), [&](size_t i) {
      if (!ended_[i]) TakeSamples(i, chunks[i].samples);
    });
    double bead_steps = 0;
    for (size_t i = 0; i < chunks.size(); ++i) {
      if (ended_[i]) continue;
      bead_steps += static_cast<double>(runs_[i].spec.n_beads) * static_cast<double>(chunks[i].step - step(i));
      Take(i, std::move(chunks[i]));
    }
    rate.Add(bead_steps, begin, end);
  });
  return steps;
}

/// Quantities with several numbers in a row of samples.
static std::vector<store::Block> WideOf(const std::vector<kernels::Column>& columns) {
  std::vector<store::Block> wide;
  size_t index = store::kRowHead;
  for (const kernels::Column& column : columns) {
    const auto width = static_cast<size_t>(column.width);
    if (width > 1) wide.push_back({index, width});
    index += width;
  }
  return wide;
}

void Batch::TakeSamples(size_t i, const std::vector<kernels::Sample>& samples) {
  store::SampleRows& rows = records_[i].update.samples;
  for (const kernels::Sample& sample : samples) {
    if (runs_[i].resume && sample.step <= runs_[i].resume->last_sample_step) continue;  // already stored, at its end
    if (rows.width == 0) rows.wide = WideOf(ensemble_->columns(i));
    rows.width = store::kRowHead + sample.values.size();
    rows.numbers.push_back(static_cast<double>(sample.step));
    rows.numbers.push_back(sample.time);
    rows.numbers.insert(rows.numbers.end(), sample.values.begin(), sample.values.end());
  }
}

void Batch::Take(size_t i, kernels::RunChunk chunk) {
  store::RunUpdate& update = records_[i].update;
  frames_[i].Went(update.step, chunk.step, &update.frames);
  update.step = chunk.step;
  update.time = chunk.time;
  if (chunk.fault) update.fault = ToFault(*chunk.fault);
  for (const kernels::Fault& passed : chunk.passed) update.recovered_faults.push_back(ToFault(passed));
  if (update.warning.empty()) update.warning = std::move(chunk.warning);
  switch (chunk.verdict) {
    case kernels::Verdict::kRunning:
      return;
    case kernels::Verdict::kFinished:
      records_[i].end_state = StateNow(i);
      KeepLastFrames(i, frames_[i].IsDue(chunk.step));
      return End(i, v1::Run::STATE_FINISHED);
    case kernels::Verdict::kUnstable:
      // An unstable run leaves no state; its last frame shows where it failed.
      KeepLastFrames(i, !frames_[i].Holds(chunk.step) && runs_[i].spec.n_beads <= study::kMaxFrameBeads);
      return End(i, v1::Run::STATE_UNSTABLE);
    case kernels::Verdict::kFailed:
      return End(i, v1::Run::STATE_FAILED);
    case kernels::Verdict::kDropped:
      return End(i, v1::Run::STATE_CANCELLED);
  }
}

void Batch::KeepLastFrames(size_t i, bool with_this) {
  if (with_this) frames_[i].Hold(FrameNow(i));
  frames_[i].GiveOut(step(i), &records_[i].update.frames);
}

BedNow Batch::Bed(size_t i, kernels::BedState state) const {
  const kernels::RunSpec& spec = runs_[i].spec;
  return {std::move(state), spec.side_x, spec.side_y, spec.time_step};
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
