#include "stream/frame_hub.h"

#include <algorithm>
#include <optional>
#include <string>
#include <utility>

#include "stream/frame_message.h"

namespace gyrebox::stream {

constexpr std::chrono::milliseconds kBetweenLooks{100};
/// A run that is not on the device does not change.
constexpr std::chrono::seconds kBetweenLooksAtRest{1};
constexpr double kStandardInterval = 0.2;

/// State of a watched run.
struct FrameHub::WatchedRun {
  std::shared_ptr<const store::Frame> frame;
  int64_t index = 0;  ///< frames so far
  bool ended = false;
  absl::Status trouble;  ///< error that ends its streams
  bool looking = false;
  Clock::time_point looked;  ///< time of the last look
  bool on_device = true;
};

struct FrameReader {
  using Clock = std::chrono::steady_clock;

  FrameReader(const store::RunName& name, const v1::WatchFramesRequest& asked, StreamAuthorization reader_pass,
              FrameHub* hub)
      : run(name.study, name.run),
        request(asked),
        interval(std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(
            asked.has_interval_seconds() ? asked.interval_seconds() : kStandardInterval))),
        authorization(std::move(reader_pass)),
        watcher([this, hub](bool) { hub->Idle(this); }, [this, hub] { hub->Remove(this); }) {}

  const FrameHub::RunKey run;
  const v1::WatchFramesRequest request;
  const Clock::duration interval;
  const StreamAuthorization authorization;
  Writer<v1::WatchFramesResponse> watcher;  ///< thread-safe
  // Guarded by the hub's mutex:
  bool idle = true;
  Clock::time_point told;        ///< time of the last message
  Clock::time_point not_before;  ///< earliest time of the next frame
  int64_t sent = 0;              ///< index of the last frame sent
  int64_t missed = 0;            ///< frames that came before the last one was taken
  int64_t last_missed = 0;       ///< index of the last missed frame
};

FrameHub::FrameHub(FrameSource frame_source) : frame_source_(std::move(frame_source)) {
  Start([this] { Loop(); });
}

FrameHub::~FrameHub() {
  Stop();
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [this] { return looks_ == 0; });
}

void FrameHub::GoAway() { Hub::GoAway(); }

grpc::ServerWriteReactor<v1::WatchFramesResponse>* FrameHub::Watch(const store::RunName& run,
                                                                   const v1::WatchFramesRequest& request,
                                                                   StreamAuthorization authorization) {
  auto reader = std::make_shared<Reader>(run, request, std::move(authorization), this);
  reader->told = Clock::now();
  return Add(reader);
}

void FrameHub::AddedLocked(const Reader& reader) {
  auto& watched = watched_runs_[reader.run];
  if (watched == nullptr) watched = std::make_shared<WatchedRun>();
}

void FrameHub::RemovedLocked(const Reader& reader) {
  const auto same = [&](const auto& entry) { return entry.first->run == reader.run; };
  if (std::none_of(readers_.begin(), readers_.end(), same)) watched_runs_.erase(reader.run);
}

void FrameHub::Changed(int64_t study) {
  std::lock_guard lock(mutex_);
  for (const auto& [run, watched] : watched_runs_) {
    if (run.first != study || watched->on_device) continue;
    watched->looked = Clock::now() - kBetweenLooksAtRest;
    WakeLocked();
  }
}

/// Whether anyone waits for a frame of a run; a reader that has long not taken its last message does not count. Sets
/// `due` to when the fastest reader wants a frame.
bool FrameHub::IsWatchedLocked(const RunKey& run, Clock::time_point now, Clock::time_point* due) const {
  bool watched = false;
  for (const auto& [key, reader] : readers_) {
    const bool waits = reader->idle || now - reader->told < kBetweenHeartbeats;
    if (reader->run != run || !waits) continue;
    *due = watched ? std::min(*due, reader->not_before) : reader->not_before;
    watched = true;
  }
  return watched;
}

FrameHub::Clock::time_point FrameHub::LookAround(Clock::time_point now) {
  auto look_again = now + kBetweenHeartbeats;
  std::vector<std::pair<RunKey, int64_t>> due;
  {
    std::lock_guard lock(mutex_);
    awake_ = false;
    for (const auto& [run, watched] : watched_runs_) {
      Clock::time_point wanted;
      if (going_away_ || watched->looking || watched->ended || !IsWatchedLocked(run, now, &wanted)) continue;
      const auto rest = watched->on_device ? Clock::duration(kBetweenLooks) : Clock::duration(kBetweenLooksAtRest);
      const auto at = std::max(wanted, watched->looked + rest);
      if (at > now) {
        look_again = std::min(look_again, at);
        continue;
      }
      watched->looking = true;
      ++looks_;
      due.emplace_back(run, watched->frame == nullptr ? -1 : watched->frame->step);
    }
  }
  for (const auto& [run, known] : due) {
    frame_source_({run.first, run.second}, known,
                  [this, run = run](absl::StatusOr<Look> look) { Saw(run, std::move(look)); });
  }
  return look_again;
}

void FrameHub::Saw(const RunKey& run, absl::StatusOr<Look> look) {
  std::lock_guard lock(mutex_);
  --looks_;
  WakeLocked();
  const auto found = watched_runs_.find(run);
  if (found == watched_runs_.end()) return;
  WatchedRun& watched = *found->second;
  const auto now = Clock::now();
  watched.looking = false;
  watched.looked = now;
  watched.trouble = look.status();
  if (!look.ok()) return;
  watched.on_device = look->on_device;
  watched.ended = look->ended;
  if (look->frame == nullptr || (watched.frame != nullptr && look->frame->step == watched.frame->step)) return;
  watched.frame = std::move(look->frame);
  ++watched.index;
  for (const auto& [key, reader] : readers_) {
    if (reader->run != run || reader->idle || now < reader->not_before) continue;
    ++reader->missed;
    reader->last_missed = watched.index;
  }
}

std::shared_ptr<FrameReader> FrameHub::NextReaderLocked(Clock::time_point now, Clock::time_point* look_again) {
  for (const auto& [key, reader] : readers_) {
    if (!reader->idle) continue;
    const WatchedRun& watched = *watched_runs_.at(reader->run);
    const bool news = watched.index > reader->sent;
    auto due = reader->told + kBetweenHeartbeats;
    // Send the last frame without waiting for the interval.
    if (!watched.trouble.ok() || (watched.ended && !news)) due = now;
    if (news) due = watched.ended ? now : std::min(due, reader->not_before);
    if (due <= now) return reader;
    *look_again = std::min(*look_again, due);
  }
  return nullptr;
}

void FrameHub::Loop() {
  for (;;) {
    const auto now = Clock::now();
    auto look_again = LookAround(now);
    std::unique_lock lock(mutex_);
    if (stop_) return;
    gone_.clear();
    const auto reader = NextReaderLocked(now, &look_again);
    if (reader == nullptr) {
      changed_.wait_until(lock, look_again, [this] { return awake_; });
      continue;
    }
    reader->idle = false;
    lock.unlock();
    Serve(reader);
  }
}

void FrameHub::Serve(const std::shared_ptr<Reader>& reader) {
  const absl::Status allowed = reader->authorization();
  std::optional<grpc::Status> end;
  std::shared_ptr<const store::Frame> frame;
  v1::WatchFramesResponse message;
  {
    std::lock_guard lock(mutex_);
    const auto found = watched_runs_.find(reader->run);
    if (found == watched_runs_.end()) return;  // the reader has just left
    const WatchedRun& watched = *found->second;
    if (watched.index > reader->sent) frame = watched.frame;
    message.set_skipped_count(reader->missed - (reader->missed > 0 && reader->last_missed == watched.index ? 1 : 0));
    reader->missed = 0;
    reader->sent = watched.index;
    reader->told = Clock::now();
    reader->not_before = reader->told + reader->interval;
    const absl::Status& trouble = allowed.ok() ? watched.trouble : allowed;
    if (!trouble.ok()) {
      end = api::ToGrpcStatus(trouble);
    } else if (watched.ended) {
      end = grpc::Status::OK;
    }
  }
  if (end && !end->ok()) return reader->watcher.Deliver({}, end);
  if (frame == nullptr && end) return reader->watcher.Deliver({}, end);
  if (frame == nullptr) {
    message.mutable_heartbeat();
    return reader->watcher.Deliver({message});
  }
  const std::string name =
      "studies/" + std::to_string(reader->run.first) + "/runs/" + std::to_string(reader->run.second);
  FrameMessage shown = ToMessage(name, *frame, reader->request.window());
  if (!shown.faults.empty()) {
    return reader->watcher.Deliver({}, api::ToGrpcStatus(api::InvalidRequest(shown.faults)));
  }
  *message.mutable_frame() = std::move(shown.frame);
  reader->watcher.Deliver({std::move(message)}, end);
}

}  // namespace gyrebox::stream
