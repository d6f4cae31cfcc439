/// Accepts connections and hands them on.
///
/// gRPC's own listener is not used: in Debian 12 (1.51.1) it stops for good once the process runs out of descriptors
/// (CVE-2023-4785), and it does not bound the number of connections.
#pragma once

#include <atomic>
#include <functional>
#include <map>
#include <thread>
#include <vector>

#include "access/connections.h"
#include "access/token_bucket.h"
#include "discovery/descriptor.h"

namespace gyrebox::access {

/// One thread serves all listening sockets. If descriptors run short, or there are more connections than allowed, it
/// closes new ones at once and waits for the next.
class Acceptor {
 public:
  struct Door {
    Descriptor socket;                 ///< listening, non-blocking
    std::function<void(int fd)> take;  ///< takes ownership of a new connection; must not block
  };

  Acceptor(std::vector<Door> doors, Connections& connections);
  ~Acceptor() { Stop(); }

  void Start();
  /// Accepts no more. Connections already accepted stay, and are not monitored any more.
  void Stop();

 private:
  void Loop();
  void AcceptAll(const Door& door);
  /// False if no connection waits.
  bool AcceptOne(const Door& door);
  void TurnAwayOne(const Door& door);
  void HandOn(const Door& door, Descriptor fd, const Peer& peer);
  void Watch(int fd, uint64_t tag, uint32_t events) const;
  void Wake() const;
  void NoteTraffic() const;
  /// Ends those that may not stay.
  void ShutOverdue() const;
  void Forget(uint64_t number);
  void LogTurnedAway(const std::string& why);

  const std::vector<Door> doors_;
  Connections& connections_;
  const Descriptor epoll_, wake_;
  Descriptor spare_;                      ///< released briefly to accept and close a connection without room
  std::map<uint64_t, Descriptor> taken_;  ///< by number: duplicates of descriptors that gRPC owns
  TokenBucket log_lines_;
  std::atomic<bool> stop_ = false;
  std::thread thread_;
};

}  // namespace gyrebox::access
