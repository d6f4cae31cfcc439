#include "stream/watch_hub.h"

#include <algorithm>
#include <optional>
#include <string>
#include <utility>

namespace gyrebox::stream {

constexpr std::chrono::milliseconds kBetweenUpdates{100};
/// A reader takes at most a tenth of the thread's time, however large the study.
constexpr int kRestPerWork = 9;

struct WatchReader {
  WatchReader(int64_t study_id, const v1::WatchRunsRequest& request, StreamAuthorization reader_pass, WatchHub* hub)
      : study(study_id),
        authorization(std::move(reader_pass)),
        feed(study_id, request),
        watcher([this, hub](bool behind) { hub->Idle(this, behind); }, [this, hub] { hub->Remove(this); }) {}

  const int64_t study;
  const StreamAuthorization authorization;
  RunFeed feed;                           ///< used by the hub's thread alone
  Writer<v1::WatchRunsResponse> watcher;  ///< thread-safe
  // Guarded by the hub's mutex:
  bool idle = true;
  bool dirty = true;
  std::chrono::steady_clock::time_point not_before;
  std::chrono::steady_clock::time_point heartbeat;
};

WatchHub::WatchHub(store::Store& store, StudyReader read_study) : store_(store), read_study_(std::move(read_study)) {
  Start([this] { Loop(); });
}

WatchHub::~WatchHub() { Stop(); }

void WatchHub::GoAway() { Hub::GoAway(); }

grpc::ServerWriteReactor<v1::WatchRunsResponse>* WatchHub::Watch(int64_t study, const v1::WatchRunsRequest& request,
                                                                 StreamAuthorization authorization) {
  auto reader = std::make_shared<Reader>(study, request, std::move(authorization), this);
  reader->heartbeat = Clock::now() + kBetweenHeartbeats;
  return Add(reader);
}

void WatchHub::Changed(int64_t study) {
  std::lock_guard lock(mutex_);
  for (auto& [key, reader] : readers_) {
    if (reader->study == study) reader->dirty = true;
  }
  WakeLocked();
}

void WatchHub::Idle(Reader* reader, bool behind) {
  std::lock_guard lock(mutex_);
  if (behind) {
    reader->dirty = true;
    reader->not_before = Clock::now();
  }
  IdleLocked(reader);
}

std::shared_ptr<WatchReader> WatchHub::NextReaderLocked(Clock::time_point now, Clock::time_point* look_again) {
  std::shared_ptr<Reader> next;
  for (const auto& [key, reader] : readers_) {
    if (!reader->idle) continue;
    const auto due = reader->dirty ? std::min(reader->not_before, reader->heartbeat) : reader->heartbeat;
    if (due < *look_again) {
      *look_again = due;
      next = reader;
    }
  }
  return *look_again <= now ? next : nullptr;
}

void WatchHub::Loop() {
  std::unique_lock lock(mutex_);
  while (!stop_) {
    gone_.clear();
    const auto now = Clock::now();
    auto look_again = now + kBetweenHeartbeats;
    auto reader = NextReaderLocked(now, &look_again);
    if (reader == nullptr) {
      changed_.wait_until(lock, look_again);
      continue;
    }
    reader->idle = false;
    reader->dirty = false;
    lock.unlock();
    Serve(*reader);
    reader.reset();
    lock.lock();
  }
}

absl::Status WatchHub::TellGap(Reader& reader, double seconds) {
  const auto waiting = reader.feed.CountWaiting(store_);
  if (!waiting.ok()) return waiting.status();
  {
    std::lock_guard lock(mutex_);
    reader.dirty = true;  // to send what follows
  }
  reader.watcher.GoOnWith([&](const std::deque<v1::WatchRunsResponse>& pending) {
    v1::WatchRunsResponse message;
    int64_t samples = *waiting;
    for (const auto& one : pending) samples += one.samples().samples_size();
    message.mutable_gap()->set_seconds(seconds);
    message.mutable_gap()->set_sample_count(samples);
    return message;
  });
  return absl::OkStatus();
}

void WatchHub::Serve(Reader& reader) {
  const auto begin = Clock::now();
  absl::Status allowed = reader.authorization();
  if (const auto lag = reader.watcher.TakeLag(); lag && allowed.ok()) {
    allowed = TellGap(reader, *lag);
    if (allowed.ok()) return;  // it is idle again once that is written
  }
  auto messages = allowed.ok() ? reader.feed.Next(store_, read_study_) : allowed;
  const auto end = Clock::now();
  {
    std::lock_guard lock(mutex_);
    if (reader.feed.more()) reader.dirty = true;
    const auto rest = std::max<Clock::duration>(kBetweenUpdates, kRestPerWork * (end - begin));
    reader.not_before = reader.feed.more() ? end : end + rest;
    reader.heartbeat = end + kBetweenHeartbeats;
  }
  if (!messages.ok()) {
    reader.watcher.Deliver({}, api::ToGrpcStatus(messages.status()));
    return;
  }
  if (messages->empty() && !reader.feed.ended()) messages->emplace_back().mutable_heartbeat();
  reader.watcher.Deliver(*std::move(messages), reader.feed.ended() ? std::optional(grpc::Status::OK) : std::nullopt);
}

}  // namespace gyrebox::stream
