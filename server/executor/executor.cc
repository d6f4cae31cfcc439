#include "executor/executor.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <exception>

#include "executor/batch.h"
#include "store/saved_run.h"

namespace gyrebox::executor {

constexpr int kBedsPerThread = 8;
constexpr double kSecondsAfterFailure = 1;

Options OptionsFor(const kernels::Device& device) {
  Options options;
  if (device.name() == "cpu") {
    options.most_runs_together = std::clamp(kBedsPerThread * device.thread_count(), 1, options.most_runs_together);
  }
  return options;
}

Executor::Executor(store::Store& store, kernels::Device& device, Options options,
                   std::function<void(int64_t)> on_change)
    : store_(store), device_(device), options_(options), on_change_(std::move(on_change)) {}

Executor::~Executor() { Stop(); }

void Executor::Start() {
  thread_ = std::thread([this] { Loop(); });
}

void Executor::Wake() {
  std::lock_guard lock(mutex_);
  awake_ = true;
  changed_.notify_all();
}

void Executor::Stop() {
  {
    std::lock_guard lock(mutex_);
    stop_ = true;
    changed_.notify_all();
  }
  if (thread_.joinable()) thread_.join();
}

bool Executor::stopping() const {
  std::lock_guard lock(mutex_);
  return stop_;
}

void Executor::Rest(double seconds) {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, std::chrono::duration<double>(seconds), [this] { return stop_; });
}

// What the store has taken is safe, and a new process can use the device again: it runs what this one had begun anew.
void Executor::LeaveProcess(const kernels::DeviceLost& error) {
  spdlog::critical("the device is lost to this process, which ends so that another can go on: {}", error.what());
  spdlog::default_logger()->flush();
  options_.leave(kDeviceLostExit);
}

void Executor::Loop() {
  while (!stopping()) {
    {
      std::lock_guard lock(mutex_);
      awake_ = false;
    }
    bool worked = true;
    try {
      worked = RunNext();
    } catch (const kernels::DeviceLost& error) {
      return LeaveProcess(error);
    } catch (const std::exception& error) {
      spdlog::error("executor: {}", error.what());
      Rest(kSecondsAfterFailure);
    }
    if (worked) continue;
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return stop_ || awake_; });
  }
}

bool Executor::Persist(const std::function<absl::Status()>& write) {
  for (;;) {
    const absl::Status status = write();
    if (status.ok()) return true;
    spdlog::error("the store refuses a write, trying again: {}", status.ToString());
    Rest(kSecondsAfterFailure);
    if (stopping()) return false;
  }
}

bool Executor::Record(Batch& batch) {
  const auto updates = batch.TakeUpdates();
  if (!Persist([&] { return store_.RecordProgress(batch.study(), updates); })) return false;
  for (const store::RunUpdate& update : updates) {
    if (update.fault) {
      spdlog::warn("studies/{}/runs/{} {}: {}", batch.study(), update.number,
                   update.state == v1::Run::STATE_UNSTABLE ? "unstable" : "failed", update.fault->message());
    }
  }
  on_change_(batch.study());
  return true;
}

bool Executor::Begin(Batch& batch) {
  const auto all = batch.numbers();
  if (!Persist([&] { return store_.StartRuns(batch.study(), all, device_.name()); })) return false;
  on_change_(batch.study());
  batch.LayOut(device_);
  const auto& left_out = batch.left_out();
  if (!left_out.empty()) {
    spdlog::warn("studies/{}: {} runs wait for memory", batch.study(), left_out.size());
    if (!Persist([&] { return store_.RequeueRuns(batch.study(), left_out); })) return false;
  }
  const auto numbers = batch.numbers();
  const auto observables = batch.observables();
  if (!observables.empty() && !Persist([&] { return store_.SetObservables(batch.study(), numbers, observables); })) {
    return false;
  }
  return Record(batch);
}

bool Executor::RunNext() {
  auto queued = store_.NextQueued(options_.most_runs_together);
  if (!queued.ok()) {
    spdlog::error("the store refuses a read: {}", queued.status().ToString());
    Rest(kSecondsAfterFailure);
    return true;
  }
  if (queued->runs.empty()) return false;
  std::shared_ptr<const kernels::SavedBed> saved;
  absl::Status found = absl::OkStatus();
  if (queued->spec.start().has_saved()) {
    const study::FoundRun run = store::FindSavedRun(store_, queued->spec.start().saved().run());
    found = run.status();
    if (run.ok()) saved = run->beads;
  }
  if (!found.ok() && !store::IsAboutTheRun(found)) {
    spdlog::error("the store refuses a read: {}", found.ToString());
    Rest(kSecondsAfterFailure);
    return true;
  }
  Batch batch(queued->study, Pack(*queued, device_, saved));
  if (!found.ok()) batch.FailToStart(std::string(found.message()));
  spdlog::info("studies/{}: runs {} to {} start", batch.study(), batch.numbers().front(), batch.numbers().back());
  if (!Begin(batch)) return true;
  ChunkPacer pacer(options_.chunk_seconds);
  auto recorded = RateMeter::Clock::now();
  while (!batch.done() && !stopping()) {
    batch.Advance(pacer, rate_);
    if (store_.IsCancelled(batch.study()).value_or(false)) batch.Cancel();
    const std::chrono::duration<double> unrecorded = RateMeter::Clock::now() - recorded;
    if (!batch.has_news() && unrecorded.count() < options_.record_seconds) continue;
    if (!Record(batch)) return true;
    recorded = RateMeter::Clock::now();
  }
  return true;
}

}  // namespace gyrebox::executor
