/// Fans the runs of studies out to any number of readers, none of whom can slow the device or another reader.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <memory>

#include "gyrebox/v1/run_service.pb.h"
#include "store/store.h"
#include "stream/hub.h"
#include "stream/run_feed.h"

namespace gyrebox::stream {

struct WatchReader;

/// One thread reads from the store for all readers in turn, and only for those that have taken their last messages.
class WatchHub : private Hub<WatchReader> {
 public:
  WatchHub(store::Store& store, StudyReader read_study);
  ~WatchHub();

  /// A stream for one reader, which owns itself and its authorization. Does not block.
  grpc::ServerWriteReactor<v1::WatchRunsResponse>* Watch(int64_t study, const v1::WatchRunsRequest& request,
                                                         StreamAuthorization authorization = absl::OkStatus);

  /// A study changed. Does not block.
  void Changed(int64_t study);

  /// Tells every reader that the server is stopping, and ends all streams, present and future.
  void GoAway();

 private:
  using Reader = WatchReader;
  friend WatchReader;

  void Loop();
  /// The reader whose turn it is; null if there is none, and then sets when to look again.
  std::shared_ptr<Reader> NextReaderLocked(Clock::time_point now, Clock::time_point* look_again);
  void Serve(Reader& reader);
  /// Tells a reader that it has fallen behind.
  absl::Status TellGap(Reader& reader, double seconds);
  /// @param behind whether to tell it of a gap.
  void Idle(Reader* reader, bool behind);

  store::Store& store_;
  const StudyReader read_study_;
};

}  // namespace gyrebox::stream
