/// Tells any number of readers how the box is, once a second.
#pragma once

#include <absl/status/statusor.h>
#include <grpcpp/grpcpp.h>

#include <condition_variable>
#include <functional>
#include <mutex>
#include <set>
#include <thread>

#include "gyrebox/v1/box_service.grpc.pb.h"
#include "stream/watch_hub.h"

namespace gyrebox::api {

/// One thread looks at the box for all readers; one who has not taken the last message gets the next one later.
class BoxBoard {
 public:
  explicit BoxBoard(std::function<absl::StatusOr<v1::Box>()> look);
  ~BoxBoard();

  /// A stream for one reader, which owns itself. Does not block. @param pass of the reader, who is refused without one
  /// and no longer told once it does not hold.
  grpc::ServerWriteReactor<v1::WatchBoxResponse>* Watch(absl::StatusOr<stream::Pass> pass);

  /// Ends all streams, those to come too.
  void GoAway();

 private:
  class Reader;

  void Loop();

  const std::function<absl::StatusOr<v1::Box>()> look_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::set<Reader*> readers_;  ///< guarded by mutex_
  bool going_away_ = false;    ///< guarded by mutex_
  bool fresh_ = false;         ///< guarded by mutex_; there is a reader who was told nothing yet
  bool stop_ = false;          ///< guarded by mutex_
  std::thread thread_;
};

}  // namespace gyrebox::api
