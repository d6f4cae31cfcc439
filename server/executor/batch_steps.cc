// How a batch works on the device: it makes its ensemble and takes steps.
#include <tbb/parallel_for.h>

#include <chrono>
#include <exception>
#include <new>
#include <utility>

#include "executor/batch.h"
#include "executor/fault.h"
#include "study/run_spec.h"

namespace gyrebox::executor {

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

void Batch::Advance(ChunkPacer& pacer, RateMeter& rate) {
  const auto begin = RateMeter::Clock::now();
  const int64_t taken = Advance(pacer.steps(), rate);
  pacer.Took(taken, std::chrono::duration<double>(RateMeter::Clock::now() - begin).count());
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

}  // namespace gyrebox::executor
