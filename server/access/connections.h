/// Tracks connections: how many there may be, and how long one may stay without a call.
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
  int in_all = 0;                              ///< an eighth of them reserved for the Unix socket
  int of_address = 100;                        ///< per address of another machine
  std::chrono::milliseconds patience{10'000};  ///< for the first call of a known user
  std::chrono::milliseconds stranger{60'000};  ///< the same after a call that strangers may make
  int64_t bytes_of_one = 4 << 20;              ///< max bytes of one connection outside admitted calls
  int64_t bytes_of_all = 32 << 20;             ///< the same over all; the largest is ended first
  int broken_calls = 100;                      ///< max surplus of refused, abandoned or incomplete calls
};

/// Traffic of a connection since it began.
struct Traffic {
  int64_t received = 0, sent = 0;  ///< bytes, including those of TLS
};

/// Does the accounting only, without access to sockets. Thread-safe.
class Connections {
 public:
  using Clock = std::chrono::steady_clock;

  explicit Connections(const ConnectionBounds& bounds) : bounds_(bounds) {}

  /// Adds a connection and returns its number; nothing if there are too many.
  std::optional<uint64_t> Add(const Peer& peer, Clock::time_point now);
  /// Removes a closed connection.
  void Remove(uint64_t number);

  /// A call has begun, complete or not.
  /// @param peer its name as gRPC reports it.
  void NoteBegun(const std::string& peer);
  /// A call was admitted. @param known false if strangers may make this call. @param bytes of its request.
  void NoteCall(const std::string& peer, bool known, int64_t bytes);
  /// Total traffic of one connection so far.
  void NoteTraffic(uint64_t number, const Traffic& traffic);

  /// Connections that have had enough time for a call, made too many broken calls, or sent too much that belongs to no
  /// admitted call. Each is reported once. The caller closes them.
  std::vector<uint64_t> Overdue(Clock::time_point now);
  /// Sets a function to call, on any thread, when a connection becomes overdue by too many broken calls; null for none.
  void SetWake(std::function<void()> wake);

  int count() const;
  /// Connections turned away so far, for any reason.
  int64_t turned_away() const;
  /// Counts a connection that was turned away before Add().
  void NoteTurnedAway();

 private:
  struct Entry {
    Peer peer;
    Clock::time_point since;
    std::optional<Clock::time_point> deadline;
    int broken = 0;  ///< calls begun, less twice those admitted; at least 0
    Traffic traffic;
    int64_t let_in = 0;   ///< bytes of calls admitted since the last NoteTraffic()
    int64_t pending = 0;  ///< bytes received outside admitted calls so far; at least 0
  };
  bool HasRoomLocked(const Peer& peer) const;
  /// Null for a connection on the Unix socket, or one that is gone.
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
