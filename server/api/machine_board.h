/// Sends the state of the machine to any number of readers once a second.
#pragma once

#include <absl/status/statusor.h>
#include <grpcpp/grpcpp.h>

#include <condition_variable>
#include <functional>
#include <mutex>
#include <set>
#include <thread>

#include "gyrebox/v1/machine_service.grpc.pb.h"
#include "stream/watch_hub.h"

namespace gyrebox::api {

/// One thread reads the state of the machine for all readers. A reader that has not taken the last message gets the
/// next one later.
class MachineBoard {
 public:
  explicit MachineBoard(std::function<absl::StatusOr<v1::Machine>()> look);
  ~MachineBoard();

  /// A stream for one reader, which owns itself. Does not block. @param authorization of the reader: the stream is
  /// refused without one, and gets no more messages once it does not hold.
  grpc::ServerWriteReactor<v1::WatchMachineResponse>* Watch(absl::StatusOr<stream::StreamAuthorization> authorization);

  /// Ends all streams, present and future.
  void GoAway();

 private:
  class Reader;

  void Loop();

  const std::function<absl::StatusOr<v1::Machine>()> look_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::set<Reader*> readers_;  ///< guarded by mutex_
  bool going_away_ = false;    ///< guarded by mutex_
  bool fresh_ = false;         ///< guarded by mutex_; some reader has had no message yet
  bool stop_ = false;          ///< guarded by mutex_
  std::thread thread_;
};

}  // namespace gyrebox::api
