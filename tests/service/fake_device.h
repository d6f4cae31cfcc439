/// A device without physics: fast, exact, and with faults on request.
#pragma once

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <memory>
#include <mutex>
#include <new>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include "gyrebox/device.h"

namespace gyrebox::test {

/// Memory of a run on a fake device.
inline std::int64_t FakeBytesOf(const kernels::RunSpec& spec) { return 400 * spec.n_beads + (1 << 16); }

/// Behaviour of a fake device. Shared with the test, which may change the atomics during a run.
struct FakePlan {
  std::atomic<double> unstable_above = 1e300;  ///< amplitude from which a run is unstable, at its third sample
  std::atomic<double> troubled_above = 1e300;  ///< amplitude from which it recovers from a fault and warns, there too
  std::atomic<size_t> max_beds = 1'000'000;    ///< NewEnsemble throws std::bad_alloc for more
  std::atomic<size_t> max_grown = 1'000'000;   ///< Advance throws it if more beds, of all ensembles, are past step 1000
  std::atomic<bool> broken = false;            ///< Advance throws std::runtime_error
  std::atomic<bool> lost = false;              ///< Advance throws DeviceLost
  std::atomic<int64_t> step_nanoseconds = 0;   ///< duration of a step, for all beds together
  std::atomic<bool> held = false;              ///< Advance waits while this is set
  std::atomic<bool> waiting = false;           ///< Advance is waiting
  std::atomic<bool> turning = false;           ///< the angle of a bead is 7 times its index, plus the step
  std::atomic<int> finished = 0;               ///< counts finished runs
  std::atomic<int> chunks = 0;                 ///< counts calls of Advance
  std::atomic<int64_t> sizing_nanoseconds = 0;  ///< duration of BytesOf, which is called for every point of a study
  std::atomic<int> sized = 0;                   ///< counts calls of BytesOf
  int64_t memory_bytes = int64_t{1} << 40;
  std::string name = "cpu";

  std::mutex mutex;
  std::vector<size_t> ensemble_sizes;         ///< size of each initialised ensemble; guarded by mutex
  std::atomic<size_t> grown = 0;              ///< beds of ensembles past step 1000
  std::vector<kernels::RunSpec> initialized;  ///< all runs so far; guarded by mutex
  std::vector<int64_t> loaded_steps;          ///< steps of the states that runs resumed from; guarded by mutex
};

/// Value that a fake run measures at a step.
inline double FakeSize(const kernels::RunSpec& spec, int64_t step) {
  double amplitude = spec.drive.wave.amplitude;
  for (const kernels::Adjustment& adjustment : spec.adjustments) {
    for (const kernels::Change& change : adjustment.changes) {
      if (change.parameter == kernels::Parameter::kAmplitude && adjustment.step <= step) amplitude = change.value;
    }
  }
  return amplitude + 100 * static_cast<double>(spec.seeds.positions) +
         static_cast<double>(step) / static_cast<double>(spec.n_steps);
}

class FakeEnsemble : public kernels::Ensemble {
 public:
  FakeEnsemble(std::span<const kernels::RunSpec> specs, std::shared_ptr<FakePlan> plan)
      : specs_(specs.begin(), specs.end()), plan_(std::move(plan)), runs_(specs.size()) {}

  size_t size() const override { return specs_.size(); }

  const std::vector<kernels::Column>& columns(size_t) const override {
    static const std::vector<kernels::Column> kColumns = {
        {"spinner_weight_average_size", "beads", "Mean size of the cluster of a spinner.", 1},
        {"histogram", "", "Beads by size.", 3},
        {"closest_pair", "sigma", "Closest pair, in every other sample.", 1},
    };
    return kColumns;
  }

  std::vector<kernels::RunChunk> Advance(int64_t steps) override {
    while (plan_->held) {
      plan_->waiting = true;
      std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    plan_->waiting = false;
    Grow();
    if (plan_->lost) throw kernels::DeviceLost("the fake device is lost");
    if (plan_->broken) throw std::runtime_error("the fake device is broken");
    std::this_thread::sleep_for(std::chrono::nanoseconds(steps * plan_->step_nanoseconds));
    ++plan_->chunks;
    std::vector<kernels::RunChunk> chunks;
    for (size_t i = 0; i < specs_.size(); ++i) chunks.push_back(AdvanceRun(i, steps));
    return chunks;
  }

  void Drop(size_t run) override { runs_[run].verdict = kernels::Verdict::kDropped; }
  /// Takes effect in FakeSize() from the step of the adjustment on.
  int64_t Adjust(size_t run, const kernels::Adjustment& adjustment) override {
    auto& all = specs_[run].adjustments;
    const auto after = std::find_if(all.begin(), all.end(), [&](const auto& a) { return a.step > adjustment.step; });
    all.insert(after, adjustment);
    return adjustment.step;
  }
  const std::vector<kernels::Adjustment>& adjustments(size_t run) const override { return specs_[run].adjustments; }
  void EndAt(size_t run, int64_t step) override { specs_[run].n_steps = std::max(step, runs_[run].next()); }
  /// Beads on a line whose position identifies the run; the first ones are spinners.
  kernels::BedState Save(size_t run) const override {
    const kernels::RunSpec& spec = specs_[run];
    kernels::BedState state;
    state.step = runs_[run].next();
    const bool closed = runs_[run].verdict == kernels::Verdict::kFinished;
    state.halvings = static_cast<int32_t>(runs_[run].samples - (closed ? 1 : 0));
    for (uint32_t id = 0; id < spec.n_beads; ++id) {
      state.x.push_back(40'000'001 * id);
      state.y.push_back(static_cast<uint32_t>(spec.seeds.positions + 1000 * spec.drive.wave.amplitude));
      state.angle.push_back(7 * id + (plan_ != nullptr && plan_->turning ? static_cast<uint32_t>(state.step) : 0));
      state.kind.push_back(id < spec.n_spinners ? 1 : 0);
    }
    return state;
  }
  kernels::BedState Checkpoint(size_t run) const override { return Save(run); }
  void Load(size_t run, const kernels::BedState& state) override {
    runs_[run] = {.step = state.step - 1, .samples = state.halvings};
    if (plan_ == nullptr) return;
    std::lock_guard lock(plan_->mutex);
    plan_->loaded_steps.push_back(state.step);
  }
  std::vector<kernels::Bead> Beads(size_t) const override { return {}; }
  RebuildStats rebuilds() const override { return {}; }

  ~FakeEnsemble() override {
    if (grown_) plan_->grown -= size();
  }

 private:
  void Grow() {
    if (!grown_ && runs_[0].step > 1000) {
      grown_ = true;
      plan_->grown += size();
    }
    if (grown_ && plan_->grown > plan_->max_grown) throw std::bad_alloc();
  }

  struct State {
    int64_t step = -1;  ///< the last step processed; its sample, if any, has been taken
    int64_t samples = 0;
    kernels::Verdict verdict = kernels::Verdict::kRunning;

    /// Step of the bed; its sample has not been taken yet.
    int64_t next() const { return verdict == kernels::Verdict::kFinished ? step : step + 1; }
  };

  kernels::RunChunk AdvanceRun(size_t i, int64_t steps) {
    const kernels::RunSpec& spec = specs_[i];
    State& state = runs_[i];
    kernels::RunChunk chunk;
    // As on real devices, only the sample of the last step comes with the step itself.
    const int64_t last = state.step + steps >= spec.n_steps - 1 ? spec.n_steps : state.step + steps;
    while (state.verdict == kernels::Verdict::kRunning && state.step < last) {
      ++state.step;
      if (state.step % spec.measure.interval_steps != 0 && state.step != spec.n_steps) continue;
      if (spec.drive.wave.amplitude > plan_->unstable_above && state.samples == 2) {
        state.verdict = kernels::Verdict::kUnstable;
        chunk.fault = kernels::Fault{kernels::Fault::Reason::kClosestPair,
                                     "beads 3 and 5 came within 0.5 sigma",
                                     state.step,
                                     static_cast<double>(state.step) * spec.time_step,
                                     {3, 5},
                                     {1.5, 2.5},
                                     kernels::Fault::Cause::kNotTried};
        break;
      }
      if (spec.drive.wave.amplitude > plan_->troubled_above && state.samples == 2) {
        chunk.warning = "the residual is large";
        chunk.passed.push_back({.reason = kernels::Fault::Reason::kLargestMove,
                                .message = "bead 7 moved 0.2 sigma",
                                .step = state.step,
                                .time = static_cast<double>(state.step) * spec.time_step,
                                .beads = {7},
                                .position = {},
                                .cause = kernels::Fault::Cause::kNumerical});
      }
      ++state.samples;
      chunk.samples.push_back({state.step,
                               static_cast<double>(state.step) * spec.time_step,
                               {FakeSize(spec, state.step), 1, 2, 3, state.samples % 2 == 1 ? 0.875 : std::nan("")}});
    }
    if (state.verdict == kernels::Verdict::kRunning && state.step == spec.n_steps) {
      state.verdict = kernels::Verdict::kFinished;
      ++plan_->finished;
    }
    chunk.step = state.next();
    chunk.time = static_cast<double>(chunk.step) * spec.time_step;
    chunk.verdict = state.verdict;
    return chunk;
  }

  std::vector<kernels::RunSpec> specs_;
  const std::shared_ptr<FakePlan> plan_;
  std::vector<State> runs_;
  bool grown_ = false;
};

class FakeDevice : public kernels::Device {
 public:
  explicit FakeDevice(std::shared_ptr<FakePlan> plan) : plan_(std::move(plan)) {}

  std::string name() const override { return plan_->name; }
  std::string description() const override { return "a device without physics"; }
  std::int64_t BytesOf(const kernels::RunSpec& spec) const override {
    std::this_thread::sleep_for(std::chrono::nanoseconds(plan_->sizing_nanoseconds));
    ++plan_->sized;
    return FakeBytesOf(spec);
  }
  int thread_count() const override { return 1; }
  int64_t memory_bytes() const override { return plan_->memory_bytes; }

  std::unique_ptr<kernels::Ensemble> NewEnsemble(std::span<const kernels::RunSpec> specs) override {
    if (specs.size() > plan_->max_beds) throw std::bad_alloc();
    std::lock_guard lock(plan_->mutex);
    plan_->ensemble_sizes.push_back(specs.size());
    plan_->initialized.insert(plan_->initialized.end(), specs.begin(), specs.end());
    return std::make_unique<FakeEnsemble>(specs, plan_);
  }

 private:
  const std::shared_ptr<FakePlan> plan_;
};

}  // namespace gyrebox::test
