/// Fans pictures of runs out to any number of readers: always the newest there is, and none of them can slow the
/// device.
#pragma once

#include <absl/status/statusor.h>

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

#include "gyrebox/v1/run_service.pb.h"
#include "store/frame.h"
#include "store/names.h"
#include "stream/watch_hub.h"
#include "stream/writer.h"

namespace gyrebox::stream {

/// What a run shows now.
struct Look {
  std::shared_ptr<const store::Frame> frame;  ///< null where there is none yet, or none but the one that is known
  bool on_device = false;
  bool ended = false;  ///< no frame will come after this one
};

/// Looks at a run, and calls back once, on any thread, at once or later. @param known step of the frame that is known;
/// -1 for none.
using Looker =
    std::function<void(const store::RunName& run, int64_t known, std::function<void(absl::StatusOr<Look>)> done)>;

/// A run that is watched is looked at as often as its quickest reader wants, at most every tenth of a second, and one
/// frame serves all its readers. Holds one frame a run and one message a reader, whatever they do.
class FrameHub {
 public:
  /// @param looker never called for a run before it has called back; no call outlasts the hub.
  explicit FrameHub(Looker looker);
  ~FrameHub();

  /// A stream for one reader, which owns itself, and its pass. Does not block. The request is sound but for its window,
  /// which only a frame can tell.
  grpc::ServerWriteReactor<v1::WatchFramesResponse>* Watch(const store::RunName& run,
                                                           const v1::WatchFramesRequest& request, Pass pass);

  /// A study changed: those of its runs that were not on the device may be there now. Does not block.
  void Changed(int64_t study);

  /// Tells every reader that the server is stopping, and ends all streams, those to come too.
  void GoAway();

 private:
  using Clock = std::chrono::steady_clock;
  struct Reader;
  struct Scene;
  using RunKey = std::pair<int64_t, int64_t>;

  void Loop();
  void WakeLocked();
  /// Asks for the frames that are due. Calls the looker, so without the lock. @return when to look again.
  Clock::time_point LookAround(Clock::time_point now);
  bool IsWatchedLocked(const RunKey& run, Clock::time_point now, Clock::time_point* due) const;
  void Saw(const RunKey& run, absl::StatusOr<Look> look);
  std::shared_ptr<Reader> NextReaderLocked(Clock::time_point now, Clock::time_point* look_again);
  void Serve(const std::shared_ptr<Reader>& reader);
  void Idle(Reader* reader);
  void Remove(Reader* reader);

  const Looker looker_;
  std::mutex mutex_;  ///< guards all below; never held while a watcher or the looker is called
  std::condition_variable changed_;
  std::map<Reader*, std::shared_ptr<Reader>> readers_;
  std::map<RunKey, std::shared_ptr<Scene>> scenes_;  ///< of the runs that are watched
  std::vector<std::shared_ptr<Reader>> gone_;        ///< left to the hub's thread: a watcher cannot destroy itself
  int looks_ = 0;                                    ///< under way
  bool awake_ = false;                               ///< something has changed since the hub looked around
  bool going_away_ = false;
  bool stop_ = false;
  std::thread thread_;
};

}  // namespace gyrebox::stream
