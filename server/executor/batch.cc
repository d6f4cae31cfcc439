#include "executor/batch.h"

#include <chrono>
#include <exception>
#include <new>

#include "executor/fault.h"
#include "study/expand.h"
#include "study/run_spec.h"

namespace gyrebox::executor {

std::vector<PackedRun> Pack(const store::QueuedRuns& queued, const kernels::Device& device,
                            const std::shared_ptr<const kernels::SavedBed>& saved) {
  std::vector<PackedRun> packed;
  int64_t bytes = 0;
  for (const v1::Run& run : queued.runs) {
    const std::vector<double> values(run.axis_values().begin(), run.axis_values().end());
    const int64_t number = std::stoll(run.name().substr(run.name().rfind('/') + 1));
    PackedRun next{number, study::ToRunSpec(study::AtPoint(queued.spec, values), run.seeds(), saved)};
    bytes += device.BytesOf(next.spec);
    if (bytes > device.memory_bytes() && !packed.empty()) break;
    packed.push_back(std::move(next));
  }
  return packed;
}

Batch::Batch(int64_t study, std::vector<PackedRun> runs)
    : study_(study),
      runs_(std::move(runs)),
      updates_(runs_.size()),
      ended_(runs_.size()),
      told_(runs_.size()),
      open_(runs_.size()) {
  for (size_t i = 0; i < runs_.size(); ++i) updates_[i].number = runs_[i].number;
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
      return;
    } catch (const std::bad_alloc&) {
      if (runs_.size() == 1) return Fail("OUT_OF_MEMORY", "the device has not enough memory for this bed");
      const size_t kept = runs_.size() / 2;
      for (size_t i = kept; i < runs_.size(); ++i) left_out_.push_back(runs_[i].number);
      runs_.resize(kept);
      updates_.resize(kept);
      ended_.resize(kept);
      told_.resize(kept);
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
    std::vector<v1::Observable>& of_run = all.emplace_back();
    for (const kernels::Column& column : ensemble_->columns(i)) {
      v1::Observable& observable = of_run.emplace_back();
      observable.set_name(column.name);
      observable.set_unit(column.unit);
      observable.set_definition(column.definition);
      observable.set_width(column.width);
    }
  }
  return all;
}

void Batch::Advance(ChunkPacer& pacer, RateMeter& rate) {
  try {
    const auto begin = RateMeter::Clock::now();
    std::vector<kernels::RunChunk> chunks = ensemble_->Advance(pacer.steps());
    const auto end = RateMeter::Clock::now();
    double bead_steps = 0;
    for (size_t i = 0; i < chunks.size(); ++i) {
      if (ended_[i]) continue;
      bead_steps += static_cast<double>(runs_[i].spec.n_beads) * static_cast<double>(chunks[i].step - updates_[i].step);
      Take(i, std::move(chunks[i]));
    }
    rate.Add(bead_steps, begin, end);
    pacer.Took(std::chrono::duration<double>(end - begin).count());
  } catch (const std::bad_alloc&) {
    Fail("OUT_OF_MEMORY", "memory ran out while the bed was running");
  } catch (const kernels::DeviceLost&) {
    throw;
  } catch (const std::exception& error) {
    Fail("DEVICE", error.what());
  }
}

void Batch::Take(size_t i, kernels::RunChunk chunk) {
  store::RunUpdate& update = updates_[i];
  update.step = chunk.step;
  update.time = chunk.time;
  if (chunk.fault) update.fault = ToFault(*chunk.fault);
  for (const kernels::Fault& passed : chunk.passed) update.faults_passed.push_back(ToFault(passed));
  if (!chunk.alarm.empty()) update.alarm = std::move(chunk.alarm);
  for (const kernels::Sample& sample : chunk.samples) {
    update.samples.width = 2 + sample.values.size();
    update.samples.numbers.push_back(static_cast<double>(sample.step));
    update.samples.numbers.push_back(sample.time);
    update.samples.numbers.insert(update.samples.numbers.end(), sample.values.begin(), sample.values.end());
  }
  switch (chunk.verdict) {
    case kernels::Verdict::kRunning:
      return;
    case kernels::Verdict::kFinished:
      KeepState(i);
      return End(i, v1::Run::STATE_FINISHED);
    case kernels::Verdict::kUnstable:
      return End(i, v1::Run::STATE_UNSTABLE);
    case kernels::Verdict::kFailed:
      return End(i, v1::Run::STATE_FAILED);
    case kernels::Verdict::kDropped:
      return End(i, v1::Run::STATE_CANCELLED);
  }
}

void Batch::KeepState(size_t i) {
  const std::vector<std::byte> bytes = kernels::ToBytes(ensemble_->Save(i));
  updates_[i].end_state = {.bytes = std::string(reinterpret_cast<const char*>(bytes.data()), bytes.size()),
                           .side_x = runs_[i].spec.side_x,
                           .side_y = runs_[i].spec.side_y};
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

std::vector<store::RunUpdate> Batch::TakeUpdates() {
  std::vector<store::RunUpdate> taken;
  for (size_t i = 0; i < runs_.size(); ++i) {
    if (told_[i]) continue;
    told_[i] = ended_[i];
    taken.push_back(updates_[i]);
    updates_[i].samples = {};
    updates_[i].end_state.reset();
  }
  has_news_ = false;
  return taken;
}

}  // namespace gyrebox::executor
