/// Which connections there are, how many may be, and how long one may stay without a call.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "access/peer.h"

namespace gyrebox::access {

struct ConnectionBounds {
  int in_all = 0;                              ///< an eighth of them for the Unix socket alone
  int of_address = 100;                        ///< of one address of another machine
  std::chrono::milliseconds patience{10'000};  ///< for the first call of a person who may call
  std::chrono::milliseconds stranger{60'000};  ///< for it, where a stranger asked for the health of the server
  int64_t bytes_of_one = 4 << 20;              ///< that one may have sent of calls that are not whole
  int64_t bytes_of_all = 32 << 20;             ///< the same of all together; who has sent most of it is ended first
  int broken_calls = 100;                      ///< more than were let in: refused, given up at once, never whole
};

/// What has gone over a connection since it began.
struct Traffic {
  int64_t received = 0, sent = 0;  ///< bytes, with those of TLS
};

/// Keeps count, and knows no sockets. Thread-safe.
class Connections {
 public:
  using Clock = std::chrono::steady_clock;

  explicit Connections(const ConnectionBounds& bounds) : bounds_(bounds) {}

  /// Counts a new connection and gives its number; nothing where there are too many.
  std::optional<uint64_t> Add(const Peer& peer, Clock::time_point now);
  /// A connection is closed.
  void Remove(uint64_t number);

  /// A call has begun, whole or not.
  /// @param peer its name as gRPC tells it.
  void NoteBegun(const std::string& peer);
  /// It was let in. @param known false where strangers may make this call. @param bytes of its request.
  void NoteCall(const std::string& peer, bool known, int64_t bytes);
  /// What has gone over one by now.
  void NoteTraffic(uint64_t number, const Traffic& traffic);

  /// Those that have had enough time for a call, brought too many broken ones, or sent too much that belongs to no call
  /// that was let in; each is named once. The caller closes them.
  std::vector<uint64_t> Overdue(Clock::time_point now);
  /// Called, by whatever thread, when one is overdue that was not; nothing for no more calls.
  void SetWake(std::function<void()> wake);

  int count() const;
  /// Connections turned away so far, for whatever reason.
  int64_t turned_away() const;
  /// Counts one that was turned away before it could be added.
  void NoteTurnedAway();

 private:
  struct Entry {
    Peer peer;
    Clock::time_point since;
    std::optional<Clock::time_point> deadline;
    int broken = 0;  ///< calls that have begun, less twice those that were let in; at least 0
    Traffic traffic;
    int64_t let_in = 0;   ///< bytes of calls that were let in since the traffic was noted
    int64_t pending = 0;  ///< bytes received of calls that were not let in so far; at least 0
  };
  bool HasRoomLocked(const Peer& peer) const;
  /// Null for one by the Unix socket, or that is gone.
  Entry* FindLocked(const std::string& peer);
  void EndLargestLocked();

  const ConnectionBounds bounds_;
  mutable std::mutex mutex_;
  std::map<uint64_t, Entry> entries_;        ///< by number; guarded by mutex_
  std::map<std::string, uint64_t> by_name_;  ///< guarded by mutex_
  std::map<std::string, int> of_network_;    ///< guarded by mutex_
  uint64_t last_ = 0;                        ///< guarded by mutex_
  int64_t turned_away_ = 0;                  ///< guarded by mutex_
  int64_t pending_ = 0;                      ///< bytes, of all; guarded by mutex_
  std::function<void()> wake_;               ///< guarded by mutex_
};

}  // namespace gyrebox::access
