#include "api/worker_pool.h"

#include <algorithm>
#include <utility>

#include "status/status.h"

namespace gyrebox::api {

constexpr size_t kMaxWaiting = 1000;
constexpr double kRetrySeconds = 1;

WorkerPool::WorkerPool(int threads, int calls_of_user, void (*begin)())
    : max_threads_(std::max(1, threads - 1)), calls_of_user_(calls_of_user) {
  for (int i = 0; i < threads; ++i) {
    threads_.emplace_back([this, begin] {
      if (begin != nullptr) begin();
      Loop();
    });
  }
}

absl::StatusOr<WorkerPool::Slot> WorkerPool::Take(const std::string& user) {
  std::lock_guard lock(calls_->mutex);
  int& there = calls_->of[user];
  if (calls_of_user_ > 0 && there >= calls_of_user_) {
    return TooMany(user + " has " + std::to_string(there) +
                       " calls of this kind under way, which is the most; wait until one has been answered",
                   kRetrySeconds);
  }
  ++there;
  return Slot(nullptr, [calls = calls_, user](const void*) {
    std::lock_guard lock(calls->mutex);
    const auto mine = calls->of.find(user);
    if (--mine->second == 0) calls->of.erase(mine);
  });
}

bool WorkerPool::Post(const std::string& user, std::function<void()> work) {
  std::lock_guard lock(mutex_);
  if (stop_ || waiting_ >= kMaxWaiting) return false;
  users_[user].waiting.push_back(std::move(work));
  ++waiting_;
  changed_.notify_one();
  return true;
}

void WorkerPool::Stop() {
  {
    std::lock_guard lock(mutex_);
    stop_ = true;
    changed_.notify_all();
  }
  for (auto& thread : std::exchange(threads_, {})) thread.join();
}

std::map<std::string, WorkerPool::User>::iterator WorkerPool::Next() {
  const auto may = [this](const auto& entry) {
    return !entry.second.waiting.empty() && (stop_ || entry.second.at_work < max_threads_);
  };
  const auto after = std::find_if(users_.upper_bound(last_), users_.end(), may);
  return after != users_.end() ? after : std::find_if(users_.begin(), users_.end(), may);
}

void WorkerPool::Loop() {
  std::unique_lock lock(mutex_);
  for (;;) {
    changed_.wait(lock, [this] { return stop_ || Next() != users_.end(); });
    const auto next = Next();
    if (next == users_.end()) return;
    const std::string user = last_ = next->first;
    std::function<void()> work = std::move(next->second.waiting.front());
    next->second.waiting.pop_front();
    --waiting_;
    ++next->second.at_work;
    lock.unlock();
    work();
    work = nullptr;
    lock.lock();
    const auto mine = users_.find(user);
    if (--mine->second.at_work == 0 && mine->second.waiting.empty()) users_.erase(mine);
    changed_.notify_one();
  }
}

}  // namespace gyrebox::api
