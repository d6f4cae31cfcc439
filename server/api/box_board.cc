#include "api/box_board.h"

#include <chrono>
#include <utility>

#include "api/status.h"

namespace gyrebox::api {

constexpr std::chrono::seconds kBetweenMessages{1};
constexpr size_t kMostReaders = 1000;

/// Lives until gRPC is done with it. Its own lock is taken under that of the board, never the other way round.
class BoxBoard::Reader : public grpc::ServerWriteReactor<v1::WatchBoxResponse> {
 public:
  Reader(BoxBoard* board, absl::StatusOr<stream::Pass> pass) : board_(board), pass_(std::move(pass)) {}

  /// Whether it may be told more.
  absl::Status Check() const { return pass_.ok() ? (*pass_)() : pass_.status(); }

  void Tell(const v1::Box& box) {
    std::lock_guard lock(mutex_);
    if (writing_ || finished_) return;
    *message_.mutable_box() = box;
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
  BoxBoard* const board_;
  const absl::StatusOr<stream::Pass> pass_;
  std::mutex mutex_;
  v1::WatchBoxResponse message_;
  int64_t sequence_ = 0;
  bool writing_ = false;
  bool finished_ = false;
};

BoxBoard::BoxBoard(std::function<absl::StatusOr<v1::Box>()> look)
    : look_(std::move(look)), thread_([this] { Loop(); }) {}

BoxBoard::~BoxBoard() {
  {
    std::lock_guard lock(mutex_);
    stop_ = true;
    changed_.notify_all();
  }
  thread_.join();
}

grpc::ServerWriteReactor<v1::WatchBoxResponse>* BoxBoard::Watch(absl::StatusOr<stream::Pass> pass) {
  auto* reader = new Reader(this, std::move(pass));
  std::lock_guard lock(mutex_);
  if (auto status = reader->Check(); !status.ok()) {
    reader->End(ToGrpcStatus(status));
  } else if (going_away_) {
    reader->End(ToGrpcStatus(absl::UnavailableError("the server is stopping")));
  } else if (readers_.size() >= kMostReaders) {
    reader->End(ToGrpcStatus(TooMany("too many readers; try again later", 1)));
  }
  readers_.insert(reader);
  fresh_ = true;
  changed_.notify_all();
  return reader;
}

void BoxBoard::GoAway() {
  std::lock_guard lock(mutex_);
  going_away_ = true;
  for (Reader* reader : readers_) reader->End(ToGrpcStatus(absl::UnavailableError("the server is stopping")));
}

void BoxBoard::Loop() {
  std::unique_lock lock(mutex_);
  while (!stop_) {
    changed_.wait_for(lock, kBetweenMessages, [this] { return stop_ || fresh_; });
    fresh_ = false;
    if (stop_ || readers_.empty()) continue;
    lock.unlock();
    const auto box = look_();
    lock.lock();
    for (Reader* reader : readers_) {
      absl::Status status = reader->Check();
      status.Update(box.status());
      if (status.ok()) {
        reader->Tell(*box);
      } else {
        reader->End(ToGrpcStatus(status));
      }
    }
  }
}

}  // namespace gyrebox::api
