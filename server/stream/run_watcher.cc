#include "stream/run_watcher.h"

#include <utility>

namespace gyrebox::stream {

void RunWatcher::Deliver(std::vector<v1::WatchRunsResponse> messages, std::optional<grpc::Status> end) {
  std::lock_guard lock(mutex_);
  if (finished_ || end_) return;
  for (auto& message : messages) pending_.push_back(std::move(message));
  end_ = std::move(end);
  if (!writing_) WriteNextLocked();
}

void RunWatcher::WriteNextLocked() {
  writing_ = false;
  if (finished_) return;
  if (!pending_.empty()) {
    current_ = std::move(pending_.front());
    pending_.pop_front();
    current_.set_sequence(sequence_++);
    writing_ = true;
    StartWrite(&current_);
  } else if (end_) {
    FinishLocked(*end_);
  } else {
    on_idle_();
  }
}

void RunWatcher::FinishLocked(const grpc::Status& status) {
  if (std::exchange(finished_, true)) return;
  pending_.clear();
  Finish(status);
}

void RunWatcher::OnWriteDone(bool ok) {
  std::lock_guard lock(mutex_);
  if (!ok) return FinishLocked(grpc::Status(grpc::StatusCode::CANCELLED, "the reader is gone"));
  WriteNextLocked();
}

void RunWatcher::OnCancel() {
  std::lock_guard lock(mutex_);
  FinishLocked(grpc::Status::CANCELLED);
}

}  // namespace gyrebox::stream
