/// Fans frames of runs out to any number of readers: always the newest frame, and no reader can slow the device.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <utility>

#include "gyrebox/v1/run_service.pb.h"
#include "store/frame.h"
#include "store/names.h"
#include "stream/hub.h"

namespace gyrebox::stream {

/// What a source reports about a run.
struct Look {
  std::shared_ptr<const store::Frame> frame;  ///< null if there is none yet, or none but the known one
  bool on_device = false;
  bool ended = false;  ///< no frame will follow this one
};

/// Looks up the newest frame of a run, and calls back once, on any thread, at once or later. @param known step of the
/// frame that is already known; -1 for none.
using FrameSource =
    std::function<void(const store::RunName& run, int64_t known, std::function<void(absl::StatusOr<Look>)> done)>;

struct FrameReader;

/// Polls a watched run as often as its fastest reader wants, at most every tenth of a second; one frame serves all its
/// readers. Holds one frame per run and one message per reader, whatever they do.
class FrameHub : private Hub<FrameReader> {
 public:
  /// @param frame_source has at most one pending call per run; the destructor waits for all pending calls.
  explicit FrameHub(FrameSource frame_source);
  ~FrameHub();

  /// A stream for one reader, which owns itself and its authorization. Does not block. The request must be valid except
  /// for its window, which can only be checked against a frame.
  grpc::ServerWriteReactor<v1::WatchFramesResponse>* Watch(const store::RunName& run,
                                                           const v1::WatchFramesRequest& request,
                                                           StreamAuthorization authorization);

  /// A study changed: its runs that were not on the device may be there now. Does not block.
  void Changed(int64_t study);

  /// Tells every reader that the server is stopping, and ends all streams, present and future.
  void GoAway();

 private:
  using Reader = FrameReader;
  friend FrameReader;
  struct WatchedRun;
  using RunKey = std::pair<int64_t, int64_t>;

  void AddedLocked(const Reader& reader) override;
  void RemovedLocked(const Reader& reader) override;
  void Loop();
  /// Requests the frames that are due. Calls frame_source_, so do not hold the lock. @return when to look again.
  Clock::time_point LookAround(Clock::time_point now);
  bool IsWatchedLocked(const RunKey& run, Clock::time_point now, Clock::time_point* due) const;
  void Saw(const RunKey& run, absl::StatusOr<Look> look);
  std::shared_ptr<Reader> NextReaderLocked(Clock::time_point now, Clock::time_point* look_again);
  void Serve(const std::shared_ptr<Reader>& reader);

  const FrameSource frame_source_;  ///< never called under the hub's mutex, which guards all below
  std::map<RunKey, std::shared_ptr<WatchedRun>> watched_runs_;  ///< runs with readers
  int looks_ = 0;                                               ///< pending calls of frame_source_
};

}  // namespace gyrebox::stream
