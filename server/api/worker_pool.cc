#include "api/worker_pool.h"

#include <utility>

namespace gyrebox::api {

constexpr size_t kMostWaiting = 1000;

WorkerPool::WorkerPool(int threads) {
  for (int i = 0; i < threads; ++i) threads_.emplace_back([this] { Loop(); });
}

bool WorkerPool::Post(std::function<void()> work) {
  std::lock_guard lock(mutex_);
  if (stop_ || waiting_.size() >= kMostWaiting) return false;
  waiting_.push_back(std::move(work));
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

void WorkerPool::Loop() {
  for (;;) {
    std::function<void()> work;
    {
      std::unique_lock lock(mutex_);
      changed_.wait(lock, [this] { return stop_ || !waiting_.empty(); });
      if (waiting_.empty()) return;
      work = std::move(waiting_.front());
      waiting_.pop_front();
    }
    work();
  }
}

}  // namespace gyrebox::api
