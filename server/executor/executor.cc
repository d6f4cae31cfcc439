#include "executor/executor.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <exception>
#include <utility>

namespace gyrebox::executor {

constexpr int kBedsPerThread = 8;
constexpr double kSecondsAfterFailure = 1;

Options OptionsFor(const kernels::Device& device) {
  Options options;
  if (device.name() == "cpu") {
    options.max_runs_together = std::clamp(kBedsPerThread * device.thread_count(), 1, options.max_runs_together);
  }
  return options;
}

Executor::Executor(store::Store& store, kernels::Device& device, queue::Queue& queue, Options options,
                   std::function<void(int64_t)> on_change)
    : store_(store),
      device_(device),
      queue_(queue),
      options_(options),
      recorder_([this](const absl::Status& why) { commands_.RefuseAll(why); }, [this] { Wake(); }),
      batches_(store, device, recorder_,
               {options.chunk_seconds, options.record_seconds, options.checkpoint_seconds, options.max_bytes_per_user},
               std::move(on_change), [this] { Wake(); }) {}

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
  recorder_.StopRetrying();
  if (thread_.joinable()) thread_.join();
  recorder_.Close();
  const auto stopped = absl::UnavailableError("the server is stopping; ask again later");
  commands_.Close(stopped);
  for (const Steering& steering : std::exchange(steering_, {})) {
    steering.job->BreakOff(stopped);
    steering.done(std::move(steering.job->result()));
  }
}

bool Executor::stopping() const {
  std::lock_guard lock(mutex_);
  return stop_;
}

void Executor::Rest(double seconds) {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, std::chrono::duration<double>(seconds), [this] { return stop_; });
}

void Executor::Wait() {
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [this] { return stop_ || awake_ || !commands_.empty(); });
}

void Executor::WaitForRoom() {
  while (recorder_.behind() && !stopping()) {
    recorder_.WaitWhileRefused();
    {
      std::unique_lock lock(mutex_);
      changed_.wait(lock, [this] { return stop_ || !recorder_.behind() || !commands_.empty() || !steering_.empty(); });
    }
    if (recorder_.trouble().empty()) ReadCommands();
  }
}

// Stores everything handed to the recorder first. A new process can use the device again and recovers the interrupted
// runs.
void Executor::LeaveProcess(const kernels::DeviceLost& error) {
  spdlog::critical("the device is lost to this process, which ends so that another can go on: {}", error.what());
  recorder_.Close();
  spdlog::default_logger()->flush();
  options_.leave(kDeviceLostExit);
}

void Executor::Loop() {
  while (!stopping()) {
    bool worked = true;
    try {
      worked = Slice();
    } catch (const kernels::DeviceLost& error) {
      return LeaveProcess(error);
    } catch (const std::exception& error) {
      spdlog::error("executor: {}", error.what());
      Rest(kSecondsAfterFailure);
    }
    if (!worked) Wait();
  }
  try {
    SaveAll();
  } catch (const std::exception& error) {
    spdlog::error("executor: what is under way cannot be saved, and goes on from its last checkpoint: {}",
                  error.what());
  }
}

void Executor::SaveAll() {
  for (const auto& on : batches_.active()) {
    if (on->batch.initialized()) batches_.Record(*on, /*checkpoint=*/true);
    if (!on->batch.initialized()) batches_.Evict(*on);
  }
  queue_.WriteUse();
}

// ---- scheduling

void Executor::LookAtQueue() {
  {
    std::lock_guard lock(mutex_);
    if (!awake_) return;
    awake_ = false;
  }
  auto waiting = store_.queue().ListWaiting();
  if (!waiting.ok()) {
    Wake();
    throw std::runtime_error("the store refuses a read: " + waiting.status().ToString());
  }
  waiting_ = *std::move(waiting);
  std::erase_if(demands_, [&](const auto& need) {
    return std::none_of(waiting_.begin(), waiting_.end(), [&](const auto& one) { return one.study == need.first; });
  });
}

std::vector<queue::Work> Executor::AllWork() {
  std::vector<queue::Work> work;
  for (const auto& on : batches_.active()) {
    work.push_back({on->waiting.study, on->waiting.owner, on->waiting.priority, true, on->bytes, on->batch.open_beads(),
                    on->initialization != nullptr});
  }
  for (const store::WaitingStudy& one : waiting_) {
    if (!demands_.contains(one.study)) {
      const auto demand = batches_.DemandOf(one.study);
      if (!demand.ok()) throw std::runtime_error("the store refuses a read: " + demand.status().ToString());
      demands_[one.study] = *demand;
    }
    const auto& [bytes, beads] = demands_[one.study];
    work.push_back({one.study, one.owner, one.priority, false,
                    batches_.NeedsAll(one.study) ? device_.memory_bytes() : bytes, beads});
  }
  return work;
}

bool Executor::Slice() {
  recorder_.WaitWhileRefused();
  ReadCommands();
  batches_.CancelWhatIsCancelled();
  if (draining_) {
    for (const auto& on : batches_.active()) batches_.Evict(*on);
    recorder_.WaitForAll();
  }
  batches_.StartReadyBatches();
  batches_.DropDone();
  LookAtQueue();
  Publish(nullptr);
  if (draining_) return !steering_.empty();
  const auto work = AllWork();
  const queue::Choice choice = queue_.Next(work, {.memory_bytes = device_.memory_bytes(),
                                                  .max_beads_per_user = options_.max_beads_per_user,
                                                  .preemption_margin = options_.preemption_margin});
  if (!choice.next) return !steering_.empty();
  const size_t n_active = batches_.active().size();
  if (*choice.next < n_active) {
    GiveSlice(*batches_.active()[*choice.next]);
  } else {
    MakeRoomAndStart(waiting_[*choice.next - n_active], choice.leave);
  }
  batches_.DropDone();
  return true;
}

void Executor::MakeRoomAndStart(const store::WaitingStudy& waiting, const std::vector<size_t>& leave) {
  for (const size_t index : leave) batches_.Evict(*batches_.active()[index]);
  batches_.DropDone();
  Room room{device_.memory_bytes() - batches_.bytes(), options_.max_beads_per_user};
  for (const auto& on : batches_.active()) {
    if (room.beads > 0 && on->waiting.owner == waiting.owner) room.beads -= on->batch.open_beads();
  }
  if (options_.max_beads_per_user > 0) room.beads = std::max<int64_t>(room.beads, 1);
  demands_.erase(waiting.study);
  Wake();  // the queue has changed
  batches_.Start(waiting, options_.max_runs_together, room);
}

void Executor::GiveSlice(ActiveBatch& on) {
  using Clock = RateMeter::Clock;
  Publish(&on);
  const auto seconds_since = [](auto moment) { return std::chrono::duration<double>(Clock::now() - moment).count(); };
  for (const auto begin = Clock::now(); !on.batch.done() && !stopping() && !draining_;) {
    recorder_.WaitWhileRefused();
    const auto chunk = Clock::now();
    batches_.Step(on, rate_);
    queue_.Charge(on.waiting.owner, seconds_since(chunk));
    batches_.CancelWhatIsCancelled();
    batches_.RecordWhatIsDue(on);
    if (batches_.IsOverdue(on)) {
      WaitForRoom();
      batches_.RecordWhatIsDue(on);
    }
    Publish(&on);
    if (seconds_since(begin) >= options_.slice_seconds) break;
    ReadCommands();
  }
  // Record now: the next turn may be far off.
  if (batches_.active().size() > 1 && !on.batch.done()) {
    WaitForRoom();
    batches_.Record(on, /*checkpoint=*/false);
  }
  queue_.WriteUse(options_.checkpoint_seconds);
}

}  // namespace gyrebox::executor
