#include "api/worker_pool.h"

#include <algorithm>
#include <utility>

#include "api/status.h"

namespace gyrebox::api {

constexpr size_t kMostWaiting = 1000;
constexpr double kRetrySeconds = 1;

WorkerPool::WorkerPool(int threads, int calls_of_person, void (*begin)())
    : most_threads_(std::max(1, threads - 1)), calls_of_person_(calls_of_person) {
  for (int i = 0; i < threads; ++i) {
    threads_.emplace_back([this, begin] {
      if (begin != nullptr) begin();
      Loop();
    });
  }
}

absl::StatusOr<WorkerPool::Place> WorkerPool::Take(const std::string& person) {
  std::lock_guard lock(calls_->mutex);
  int& there = calls_->of[person];
  if (calls_of_person_ > 0 && there >= calls_of_person_) {
    return TooMany(person + " has " + std::to_string(there) +
                       " calls of this kind under way, which is the most; wait until one has been answered",
                   kRetrySeconds);
  }
  ++there;
  return Place(nullptr, [calls = calls_, person](const void*) {
    std::lock_guard lock(calls->mutex);
    const auto mine = calls->of.find(person);
    if (--mine->second == 0) calls->of.erase(mine);
  });
}

bool WorkerPool::Post(const std::string& person, std::function<void()> work) {
  std::lock_guard lock(mutex_);
  if (stop_ || waiting_ >= kMostWaiting) return false;
  people_[person].waiting.push_back(std::move(work));
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

std::map<std::string, WorkerPool::Person>::iterator WorkerPool::Next() {
  const auto may = [this](const auto& entry) {
    return !entry.second.waiting.empty() && (stop_ || entry.second.at_work < most_threads_);
  };
  const auto after = std::find_if(people_.upper_bound(last_), people_.end(), may);
  return after != people_.end() ? after : std::find_if(people_.begin(), people_.end(), may);
}

void WorkerPool::Loop() {
  std::unique_lock lock(mutex_);
  for (;;) {
    changed_.wait(lock, [this] { return stop_ || Next() != people_.end(); });
    const auto next = Next();
    if (next == people_.end()) return;
    const std::string person = last_ = next->first;
    std::function<void()> work = std::move(next->second.waiting.front());
    next->second.waiting.pop_front();
    --waiting_;
    ++next->second.at_work;
    lock.unlock();
    work();
    work = nullptr;
    lock.lock();
    const auto mine = people_.find(person);
    if (--mine->second.at_work == 0 && mine->second.waiting.empty()) people_.erase(mine);
    changed_.notify_one();
  }
}

}  // namespace gyrebox::api
