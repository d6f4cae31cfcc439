/// One gRPC stream to one reader.
#pragma once

#include <grpcpp/grpcpp.h>

#include <deque>
#include <functional>
#include <mutex>
#include <optional>
#include <vector>

#include "gyrebox/v1/run_service.pb.h"

namespace gyrebox::stream {

/// Writes messages one at a time; finishes exactly once, also when the reader is gone.
class RunWatcher : public grpc::ServerWriteReactor<v1::WatchRunsResponse> {
 public:
  /// @param on_idle called when all messages are written and more may be delivered; must not block.
  /// @param on_done called last; may delete the watcher.
  RunWatcher(std::function<void()> on_idle, std::function<void()> on_done)
      : on_idle_(std::move(on_idle)), on_done_(std::move(on_done)) {}

  /// Adds messages, and where `end` is given ends the stream after them. Nothing is added to a stream that ends.
  void Deliver(std::vector<v1::WatchRunsResponse> messages, std::optional<grpc::Status> end = std::nullopt);

  void OnWriteDone(bool ok) override;
  void OnCancel() override;
  void OnDone() override { on_done_(); }

 private:
  void WriteNextLocked();
  void FinishLocked(const grpc::Status& status);

  const std::function<void()> on_idle_, on_done_;
  std::mutex mutex_;  ///< guards all below; held while on_idle_ is called
  std::deque<v1::WatchRunsResponse> pending_;
  v1::WatchRunsResponse current_;
  std::optional<grpc::Status> end_;
  int64_t sequence_ = 0;
  bool writing_ = false;
  bool finished_ = false;
};

}  // namespace gyrebox::stream
