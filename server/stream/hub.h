/// What hubs of streams have in common: readers that come and go on gRPC's threads, and a thread that serves them.
#pragma once

#include <absl/status/status.h>

#include <chrono>
#include <condition_variable>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

#include "stream/writer.h"

namespace gyrebox::stream {

/// Whether a stream may continue, and if not, the error that ends it. Thread-safe; does not block.
using StreamAuthorization = std::function<absl::Status()>;

inline constexpr std::chrono::seconds kBetweenHeartbeats{5};

/// The readers of a hub. The hub itself derives from this: its constructor ends with Start(), its destructor begins
/// with Stop().
/// @tparam Reader has `watcher`, a Writer that calls Idle() and Remove(), and `idle`, which the hub's mutex guards:
/// whether it has taken all its messages.
template <class Reader>
class Hub {
 protected:
  using Clock = std::chrono::steady_clock;

  Hub() = default;
  ~Hub() = default;

  void Start(std::function<void()> loop) { thread_ = std::thread(std::move(loop)); }
  void Stop() {
    {
      std::lock_guard lock(mutex_);
      stop_ = true;
      WakeLocked();
    }
    thread_.join();
  }

  /// Tells every reader that the server is stopping, and ends all streams, present and future.
  void GoAway() {
    std::vector<std::shared_ptr<Reader>> all;
    {
      std::lock_guard lock(mutex_);
      going_away_ = true;
      all = ReadersLocked();
    }
    for (const auto& reader : all) reader->watcher.GoAway();
  }

  void WakeLocked() {
    awake_ = true;
    changed_.notify_all();
  }

  /// Adds a reader. Its stream ends at once if there is a refusal, or if the hub accepts no more readers.
  auto* Add(const std::shared_ptr<Reader>& reader, std::optional<grpc::Status> refusal = std::nullopt) {
    {
      std::lock_guard lock(mutex_);
      if (!refusal) refusal = WhyNoReader(going_away_, readers_.size());
      readers_.emplace(reader.get(), reader);
      reader->idle = !refusal.has_value();
      AddedLocked(*reader);
      WakeLocked();
    }
    if (refusal) reader->watcher.Deliver({}, refusal);
    return &reader->watcher;
  }

  void IdleLocked(Reader* reader) {
    reader->idle = true;
    WakeLocked();
  }
  void Idle(Reader* reader) {
    std::lock_guard lock(mutex_);
    IdleLocked(reader);
  }

  /// Removes a reader whose stream is over.
  void Remove(Reader* reader) {
    std::lock_guard lock(mutex_);
    const auto found = readers_.find(reader);
    if (found == readers_.end()) return;
    gone_.push_back(std::move(found->second));
    readers_.erase(found);
    RemovedLocked(*reader);
    WakeLocked();
  }

  std::vector<std::shared_ptr<Reader>> ReadersLocked() const {
    std::vector<std::shared_ptr<Reader>> all;
    for (const auto& [key, reader] : readers_) all.push_back(reader);
    return all;
  }

  std::mutex mutex_;  ///< guards all below; never held while a watcher is called
  std::condition_variable changed_;
  std::map<Reader*, std::shared_ptr<Reader>> readers_;
  std::vector<std::shared_ptr<Reader>> gone_;  ///< destroyed by the hub's thread: a watcher cannot destroy itself
  bool awake_ = false;                         ///< something has changed since the hub's thread last looked
  bool going_away_ = false;
  bool stop_ = false;

 private:
  /// What else the hub does, in the same locked section, when a reader comes or goes.
  virtual void AddedLocked(const Reader&) {}
  virtual void RemovedLocked(const Reader&) {}

  std::thread thread_;
};

}  // namespace gyrebox::stream
