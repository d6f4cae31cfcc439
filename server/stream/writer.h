/// One gRPC stream to one reader.
#pragma once

#include <grpcpp/grpcpp.h>

#include <chrono>
#include <deque>
#include <functional>
#include <mutex>
#include <optional>
#include <utility>
#include <vector>

#include "status/status.h"

namespace gyrebox::stream {

inline constexpr size_t kMaxReaders = 1000;  ///< per hub

inline grpc::Status ServerIsStopping() { return api::ToGrpcStatus(absl::UnavailableError("the server is stopping")); }

/// Why a hub with so many readers accepts no other; none if it does.
inline std::optional<grpc::Status> WhyNoReader(bool going_away, size_t readers) {
  if (readers >= kMaxReaders) return api::ToGrpcStatus(api::TooMany("too many readers; try again later", 1));
  if (going_away) return ServerIsStopping();
  return std::nullopt;
}

/// Writes messages one at a time; finishes exactly once, even if the reader is gone. Message has a sequence, which is
/// set here, and may have a heartbeat and a notice that the server is stopping.
template <class Message>
class Writer : public grpc::ServerWriteReactor<Message> {
 public:
  /// A reader that takes longer than this to take a message has fallen behind.
  static constexpr std::chrono::seconds kPatience{5};

  /// @param on_idle called with false when all messages are written and more may be delivered; called with true when
  /// the reader has taken a message late, after which GoOnWith() must follow. Must not block.
  /// @param on_done called last; may delete the writer.
  Writer(std::function<void(bool behind)> on_idle, std::function<void()> on_done)
      : on_idle_(std::move(on_idle)), on_done_(std::move(on_done)) {}

  /// Adds messages, and if `end` is given ends the stream after them. Adds nothing to a stream that is ending.
  void Deliver(std::vector<Message> messages, std::optional<grpc::Status> end = std::nullopt) {
    std::lock_guard lock(mutex_);
    if (finished_ || end_) return;
    for (auto& message : messages) pending_.push_back(std::move(message));
    end_ = std::move(end);
    if (!writing_) WriteNextLocked();
  }

  /// Tells the reader that the server is stopping, and ends the stream.
  void GoAway() {
    const grpc::Status why = ServerIsStopping();
    std::vector<Message> notices;
    if constexpr (requires(Message message) { message.mutable_going_away(); }) {
      notices.emplace_back().mutable_going_away()->set_message(why.error_message());
    }
    Deliver(std::move(notices), why);
  }

  /// Seconds for which the reader let a message wait, if too long and more is to follow; returned once.
  std::optional<double> TakeLag() {
    std::lock_guard lock(mutex_);
    return std::exchange(lag_, std::nullopt);
  }

  /// After TakeLag(): sends this message before all others. @param note gets the messages still to be written.
  void GoOnWith(const std::function<Message(const std::deque<Message>& pending)>& note) {
    std::lock_guard lock(mutex_);
    pending_.push_front(note(pending_));
    if (!writing_) WriteNextLocked();
  }

  void OnWriteDone(bool ok) override {
    std::lock_guard lock(mutex_);
    if (!ok) return FinishLocked(grpc::Status(grpc::StatusCode::CANCELLED, "the reader is gone"));
    const std::chrono::duration<double> waited = Clock::now() - began_;
    const bool over = pending_.empty() && end_;
    if (waited <= kPatience || IsHeartbeat(current_) || over) return WriteNextLocked();
    writing_ = false;
    lag_ = waited.count();
    if (!finished_) on_idle_(/*behind=*/true);
  }
  void OnCancel() override {
    std::lock_guard lock(mutex_);
    FinishLocked(grpc::Status::CANCELLED);
  }
  void OnDone() override {
    { std::lock_guard lock(mutex_); }  // wait for the last holder
    on_done_();
  }

 private:
  using Clock = std::chrono::steady_clock;

  static bool IsHeartbeat(const Message& message) {
    if constexpr (requires { message.has_heartbeat(); }) return message.has_heartbeat();
    return false;
  }

  void WriteNextLocked() {
    writing_ = false;
    if (finished_) return;
    if (!pending_.empty()) {
      current_ = std::move(pending_.front());
      pending_.pop_front();
      current_.set_sequence(sequence_++);
      writing_ = true;
      began_ = Clock::now();
      this->StartWrite(&current_);
    } else if (end_) {
      FinishLocked(*end_);
    } else {
      on_idle_(/*behind=*/false);
    }
  }

  void FinishLocked(const grpc::Status& status) {
    if (std::exchange(finished_, true)) return;
    pending_.clear();
    this->Finish(status);
  }

  const std::function<void(bool)> on_idle_;
  const std::function<void()> on_done_;
  std::mutex mutex_;  ///< guards all below; held while on_idle_ is called
  std::deque<Message> pending_;
  Message current_;
  std::optional<grpc::Status> end_;
  std::optional<double> lag_;
  Clock::time_point began_;  ///< start of the current write
  int64_t sequence_ = 0;
  bool writing_ = false;
  bool finished_ = false;
};

}  // namespace gyrebox::stream
