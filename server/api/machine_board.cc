#include "api/machine_board.h"

#include <chrono>
#include <utility>

#include "status/status.h"

namespace gyrebox::api {

constexpr std::chrono::seconds kBetweenMessages{1};
constexpr size_t kMaxReaders = 1000;

/// Lives until gRPC is done with it. Lock order: the board's mutex before the reader's, never the reverse.
class MachineBoard::Reader : public grpc::ServerWriteReactor<v1::WatchMachineResponse> {
 public:
  Reader(MachineBoard* board, absl::StatusOr<stream::StreamAuthorization> authorization)
      : board_(board), authorization_(std::move(authorization)) {}

  /// Whether it may get more messages.
  absl::Status Check() const { return authorization_.ok() ? (*authorization_)() : authorization_.status(); }

  void Tell(const v1::Machine& machine) {
    std::lock_guard lock(mutex_);
    if (writing_ || finished_) return;
    *message_.mutable_machine() = machine;
    message_.set_sequence(sequence_++);
    writing_ = true;
    StartWrite(&message_);
  }

  void End(const grpc::Status& status) {
    std::lock_guard lock(mutex_);
    if (!std::exchange(finished_, true)) Finish(status);
  }

  void OnWriteDone(bool ok) override {
    {
      std::lock_guard lock(mutex_);
      writing_ = false;
    }
    if (!ok) End(grpc::Status(grpc::StatusCode::CANCELLED, "the reader is gone"));
  }
  void OnCancel() override { End(grpc::Status::CANCELLED); }
  void OnDone() override {
    {
      std::lock_guard lock(board_->mutex_);
      board_->readers_.erase(this);
    }
    delete this;
  }

 private:
  MachineBoard* const board_;
  const absl::StatusOr<stream::StreamAuthorization> authorization_;
  std::mutex mutex_;
  v1::WatchMachineResponse message_;
  int64_t sequence_ = 0;
  bool writing_ = false;
  bool finished_ = false;
};

MachineBoard::MachineBoard(std::function<absl::StatusOr<v1::Machine>()> look)
    : look_(std::move(look)), thread_([this] { Loop(); }) {}

MachineBoard::~MachineBoard() {
  {
    std::lock_guard lock(mutex_);
    stop_ = true;
    changed_.notify_all();
  }
  thread_.join();
}

grpc::ServerWriteReactor<v1::WatchMachineResponse>* MachineBoard::Watch(
    absl::StatusOr<stream::StreamAuthorization> authorization) {
  auto* reader = new Reader(this, std::move(authorization));
  std::lock_guard lock(mutex_);
  if (auto status = reader->Check(); !status.ok()) {
    reader->End(ToGrpcStatus(status));
  } else if (going_away_) {
    reader->End(ToGrpcStatus(absl::UnavailableError("the server is stopping")));
  } else if (readers_.size() >= kMaxReaders) {
    reader->End(ToGrpcStatus(TooMany("too many readers; try again later", 1)));
  }
  readers_.insert(reader);
  fresh_ = true;
  changed_.notify_all();
  return reader;
}

void MachineBoard::GoAway() {
  std::lock_guard lock(mutex_);
  going_away_ = true;
  for (Reader* reader : readers_) reader->End(ToGrpcStatus(absl::UnavailableError("the server is stopping")));
}

void MachineBoard::Loop() {
  std::unique_lock lock(mutex_);
  while (!stop_) {
    changed_.wait_for(lock, kBetweenMessages, [this] { return stop_ || fresh_; });
    fresh_ = false;
    if (stop_ || readers_.empty()) continue;
    lock.unlock();
    const auto machine = look_();
    lock.lock();
    for (Reader* reader : readers_) {
      absl::Status status = reader->Check();
      status.Update(machine.status());
      if (status.ok()) {
        reader->Tell(*machine);
      } else {
        reader->End(ToGrpcStatus(status));
      }
    }
  }
}

}  // namespace gyrebox::api
