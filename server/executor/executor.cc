#include "executor/executor.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <exception>

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
    : store_(store),
      device_(device),
      options_(options),
      deck_(
          store, device, {options.chunk_seconds, options.record_seconds, options.checkpoint_seconds},
          [this](const auto& write) { return Persist(write); }, std::move(on_change)),
      ledger_(options.half_life_seconds) {}

Executor::~Executor() { Stop(); }

void Executor::Start() {
  if (const auto use = store_.ReadUse(); use.ok()) {
    for (const auto& [person, used] : *use) {
      ledger_.Set(person, {used.seconds, 1e-3 * static_cast<double>(used.as_of)});
    }
  }
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
  mailbox_.Close(absl::UnavailableError("the server is stopping; ask again later"));
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
  changed_.wait(lock, [this] { return stop_ || awake_ || !mailbox_.empty(); });
}

// What the store has taken is safe, and a new process can use the device again: it takes up what this one had begun.
void Executor::LeaveProcess(const kernels::DeviceLost& error) {
  spdlog::critical("the device is lost to this process, which ends so that another can go on: {}", error.what());
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
  for (const auto& on : deck_.boarded()) deck_.Record(*on, /*checkpoint=*/true);
  WriteUse();
}

bool Executor::Persist(const std::function<absl::Status()>& write) {
  for (;;) {
    const absl::Status status = write();
    if (status.ok()) {
      SetTrouble("");
      return true;
    }
    spdlog::error("the store refuses a write, trying again: {}", status.ToString());
    const std::string why = "the store refuses what is to be written: " + std::string(status.message());
    SetTrouble(why);
    if (stopping()) return false;
    mailbox_.RefuseAll(absl::UnavailableError(why));
    Rest(kSecondsAfterFailure);
    if (stopping()) return false;
  }
}

// ---- whose turn it is

void Executor::LookAtQueue() {
  {
    std::lock_guard lock(mutex_);
    if (!awake_) return;
    awake_ = false;
  }
  auto waiting = store_.ListWaiting();
  if (!waiting.ok()) {
    Wake();
    throw std::runtime_error("the store refuses a read: " + waiting.status().ToString());
  }
  waiting_ = *std::move(waiting);
  std::erase_if(needs_, [&](const auto& need) {
    return std::none_of(waiting_.begin(), waiting_.end(), [&](const auto& one) { return one.study == need.first; });
  });
}

std::vector<queue::Work> Executor::AllWork() {
  std::vector<queue::Work> work;
  for (const auto& on : deck_.boarded()) {
    work.push_back(
        {on->waiting.study, on->waiting.owner, on->waiting.priority, true, on->bytes, on->batch.open_beads()});
  }
  for (const store::WaitingStudy& one : waiting_) {
    if (!needs_.contains(one.study)) {
      const auto need = deck_.NeedOf(one.study);
      if (!need.ok()) throw std::runtime_error("the store refuses a read: " + need.status().ToString());
      needs_[one.study] = *need;
    }
    const auto& [bytes, beads] = needs_[one.study];
    work.push_back({one.study, one.owner, one.priority, false, bytes, beads});
  }
  return work;
}

bool Executor::Slice() {
  mailbox_.OpenAll();
  if (draining_) {
    for (const auto& on : deck_.boarded()) deck_.Leave(*on);
    if (!deck_.boarded().empty()) Wake();
  }
  deck_.DropDone();
  LookAtQueue();
  Publish(nullptr);
  if (draining_) return false;
  const auto work = AllWork();
  const queue::Choice choice =
      queue::Choose(work, [this, now = SecondsNow()](const std::string& person) { return ledger_.Used(person, now); },
                    {.memory_bytes = device_.memory_bytes(),
                     .most_beads_of_person = options_.most_beads_of_person,
                     .swap_seconds = options_.swap_seconds});
  if (!choice.next) return false;
  const size_t n_boarded = deck_.boarded().size();
  Boarded* on = *choice.next < n_boarded ? deck_.boarded()[*choice.next].get()
                                         : MakeRoomAndStart(waiting_[*choice.next - n_boarded], choice.leave);
  if (on != nullptr) GiveSlice(*on);
  deck_.DropDone();
  return true;
}

Boarded* Executor::MakeRoomAndStart(const store::WaitingStudy& waiting, const std::vector<size_t>& leave) {
  for (const size_t place : leave) deck_.Leave(*deck_.boarded()[place]);
  deck_.DropDone();
  Room room{device_.memory_bytes() - deck_.bytes(), options_.most_beads_of_person};
  for (const auto& on : deck_.boarded()) {
    if (room.beads > 0 && on->waiting.owner == waiting.owner) room.beads -= on->batch.open_beads();
  }
  if (options_.most_beads_of_person > 0) room.beads = std::max<int64_t>(room.beads, 1);
  needs_.erase(waiting.study);
  Wake();  // the queue has changed
  return deck_.Start(waiting, options_.most_runs_together, room);
}

void Executor::GiveSlice(Boarded& on) {
  using Clock = RateMeter::Clock;
  Publish(&on);
  const auto begin = Clock::now();
  for (auto now = begin; !on.batch.done() && !stopping() && !draining_;) {
    deck_.Step(on, rate_);
    const auto after = Clock::now();
    Charge(on.waiting.owner, std::chrono::duration<double>(after - now).count());
    now = after;
    deck_.CancelWhatIsCancelled();
    deck_.RecordWhatIsDue(on);
    Publish(&on);
    if (std::chrono::duration<double>(now - begin).count() >= options_.slice_seconds) break;
    mailbox_.OpenAll();
  }
  // It may be long until its next turn.
  if (deck_.boarded().size() > 1 && !on.batch.done()) deck_.Record(on, /*checkpoint=*/false);
  if (SecondsNow() - use_written_ >= options_.checkpoint_seconds) WriteUse();
}

}  // namespace gyrebox::executor
