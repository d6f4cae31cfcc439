#include "executor/recorder.h"

#include <spdlog/spdlog.h>

#include <chrono>
#include <exception>
#include <utility>

namespace gyrebox::executor {

constexpr size_t kMaxWaiting = 1;
constexpr std::chrono::seconds kAfterRefusal{1};

Recorder::Recorder(std::function<void(const absl::Status&)> on_refusal, std::function<void()> on_room)
    : on_refusal_(std::move(on_refusal)), on_room_(std::move(on_room)), thread_([this] { Loop(); }) {}

Recorder::Ticket Recorder::Post(std::vector<Write> writes, Then then) {
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [this] { return waiting_.size() < kMaxWaiting; });
  waiting_.push_back({std::move(writes), std::move(then)});
  changed_.notify_all();
  return ++posted_;
}

bool Recorder::behind() const {
  std::lock_guard lock(mutex_);
  return !waiting_.empty();
}

bool Recorder::IsDone(Ticket ticket) const {
  std::lock_guard lock(mutex_);
  return done_ >= ticket;
}

void Recorder::WaitFor(Ticket ticket) {
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [&] { return done_ >= ticket; });
}

void Recorder::WaitForAll() {
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [this] { return done_ == posted_; });
}

void Recorder::WaitWhileRefused() {
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [this] { return trouble_.empty() || stop_retrying_; });
}

std::string Recorder::trouble() const {
  std::lock_guard lock(mutex_);
  return trouble_;
}

void Recorder::StopRetrying() {
  std::lock_guard lock(mutex_);
  stop_retrying_ = true;
  changed_.notify_all();
}

void Recorder::Close() {
  {
    std::lock_guard lock(mutex_);
    stop_retrying_ = closed_ = true;
    changed_.notify_all();
  }
  if (thread_.joinable()) thread_.join();
}

void Recorder::Loop() {
  for (;;) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return closed_ || !waiting_.empty(); });
    if (waiting_.empty()) return;
    {
      const Task task = std::move(waiting_.front());
      waiting_.pop_front();
      changed_.notify_all();
      lock.unlock();
      on_room_();
      const absl::Status done = Do(task);
      if (task.then != nullptr) task.then(done);
    }
    lock.lock();
    ++done_;
    changed_.notify_all();
  }
}

absl::Status Recorder::Do(const Task& task) {
  for (const Write& write : task.writes) {
    if (given_up_.ok()) given_up_ = Persist(write);
  }
  return given_up_;
}

static absl::Status Try(const Recorder::Write& write) {
  try {
    return write();
  } catch (const std::exception& error) {  // such as std::bad_alloc
    return absl::InternalError(error.what());
  }
}

absl::Status Recorder::Persist(const Write& write) {
  for (;;) {
    const absl::Status status = Try(write);
    std::unique_lock lock(mutex_);
    trouble_ = status.ok() ? "" : "the store refuses what is to be written: " + std::string(status.message());
    changed_.notify_all();
    if (status.ok()) return status;
    spdlog::error("the store refuses a write, trying again: {}", status.ToString());
    const absl::Status why = absl::InternalError(trouble_);
    if (stop_retrying_) return absl::UnavailableError(trouble_);
    lock.unlock();
    on_refusal_(why);
    lock.lock();
    changed_.wait_for(lock, kAfterRefusal, [this] { return stop_retrying_; });
  }
}

}  // namespace gyrebox::executor
