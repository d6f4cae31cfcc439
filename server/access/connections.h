/// Which connections there are, how many may be, and how long one may stay without a call.
#pragma once

#include <chrono>
#include <cstdint>
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

  /// A call was let in.
  /// @param peer name of its peer as gRPC tells it. @param known false where strangers may make this call.
  void NoteCall(const std::string& peer, bool known);

  /// Those that have been given enough time for a call; each is named once. The caller closes them.
  std::vector<uint64_t> Overdue(Clock::time_point now);

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
  };
  bool HasRoomLocked(const Peer& peer) const;

  const ConnectionBounds bounds_;
  mutable std::mutex mutex_;
  std::map<uint64_t, Entry> entries_;        ///< by number; guarded by mutex_
  std::map<std::string, uint64_t> by_name_;  ///< of those with a deadline; guarded by mutex_
  std::map<std::string, int> of_network_;    ///< guarded by mutex_
  uint64_t last_ = 0;                        ///< guarded by mutex_
  int64_t turned_away_ = 0;                  ///< guarded by mutex_
};

}  // namespace gyrebox::access
