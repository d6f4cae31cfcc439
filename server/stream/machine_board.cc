#include "stream/machine_board.h"

#include <chrono>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "status/status.h"

namespace gyrebox::stream {

constexpr std::chrono::seconds kBetweenMessages{1};

struct MachineReader {
  MachineReader(MachineBoard* board, absl::StatusOr<StreamAuthorization> reader_authorization)
      : authorization(std::move(reader_authorization)),
        watcher([this, board](bool) { board->Idle(this); }, [this, board] { board->Remove(this); }) {}

  /// Whether it may get more messages.
  absl::Status Check() const { return authorization.ok() ? (*authorization)() : authorization.status(); }

  const absl::StatusOr<StreamAuthorization> authorization;
  Writer<v1::WatchMachineResponse> watcher;  ///< thread-safe
  bool idle = true;                          ///< guarded by the board's mutex
};

MachineBoard::MachineBoard(std::function<absl::StatusOr<v1::Machine>()> look) : look_(std::move(look)) {
  Start([this] { Loop(); });
}

MachineBoard::~MachineBoard() { Stop(); }

void MachineBoard::GoAway() { Hub::GoAway(); }

grpc::ServerWriteReactor<v1::WatchMachineResponse>* MachineBoard::Watch(
    absl::StatusOr<StreamAuthorization> authorization) {
  const auto reader = std::make_shared<MachineReader>(this, std::move(authorization));
  const absl::Status allowed = reader->Check();
  return Add(reader, allowed.ok() ? std::nullopt : std::optional(api::ToGrpcStatus(allowed)));
}

void MachineBoard::AddedLocked(const MachineReader&) { fresh_ = true; }

void MachineBoard::Loop() {
  for (auto next = Clock::now();;) {
    std::vector<std::shared_ptr<MachineReader>> readers;
    {
      std::unique_lock lock(mutex_);
      changed_.wait_until(lock, next, [this] { return awake_; });
      awake_ = false;
      gone_.clear();
      if (stop_) return;
      if (!std::exchange(fresh_, false) && Clock::now() < next) continue;
      readers = ReadersLocked();
    }
    Send(readers);
    next = Clock::now() + kBetweenMessages;
  }
}

void MachineBoard::Send(const std::vector<std::shared_ptr<MachineReader>>& readers) {
  if (readers.empty()) return;
  const auto machine = look_();
  for (const auto& reader : readers) Serve(*reader, machine);
}

void MachineBoard::Serve(MachineReader& reader, const absl::StatusOr<v1::Machine>& machine) {
  absl::Status status = reader.Check();
  status.Update(machine.status());
  if (!status.ok()) return reader.watcher.Deliver({}, api::ToGrpcStatus(status));
  {
    std::lock_guard lock(mutex_);
    if (!std::exchange(reader.idle, false)) return;  // it has not taken the last message
  }
  v1::WatchMachineResponse message;
  *message.mutable_machine() = *machine;
  reader.watcher.Deliver({std::move(message)});
}

}  // namespace gyrebox::stream
