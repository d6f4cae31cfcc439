#include "executor/batch.h"

#include <algorithm>
#include <utility>

#include "study/observables.h"

namespace gyrebox::executor {

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

BedNow Batch::Bed(size_t i, kernels::BedState state) const {
  const kernels::RunSpec& spec = runs_[i].spec;
  return {std::move(state), spec.side_x, spec.side_y, spec.time_step};
}

store::Frame Batch::FrameNow(size_t i) const {
  const kernels::RunSpec& spec = runs_[i].spec;
  const kernels::BedState state = ensemble_->Save(i);
  return {.step = state.step,
          .time = static_cast<double>(state.step) * spec.time_step,
          .beads = kernels::BeadsOf(state, spec.side_x, spec.side_y)};
}

}  // namespace gyrebox::executor
