/// Takes connections and hands them on.
///
/// gRPC's own listener is not used: that of Debian 12 (1.51.1) stops for good once the process has no descriptor left
/// (CVE-2023-4785), and it has no bound on connections.
#pragma once

#include <atomic>
#include <functional>
#include <map>
#include <thread>
#include <vector>

#include "access/connections.h"
#include "access/descriptor.h"
#include "access/token_bucket.h"

namespace gyrebox::access {

/// One thread for all sockets that listen. Where descriptors run short, or there are more connections than allowed, new
/// ones are closed at once, and the next is waited for.
class Acceptor {
 public:
  struct Door {
    Descriptor socket;                 ///< listens, and does not block
    std::function<void(int fd)> take;  ///< owns a new connection from then on; must not block
  };

  Acceptor(std::vector<Door> doors, Connections& connections);
  ~Acceptor() { Stop(); }

  void Start();
  /// Takes no more. Connections taken stay, and are not looked after any more.
  void Stop();

 private:
  void Loop();
  void AcceptAll(const Door& door);
  /// False where there is none for now.
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
  Descriptor spare_;                      ///< given up for a moment to accept, and close, what there is no room for
  std::map<uint64_t, Descriptor> taken_;  ///< by number: second descriptors of connections that gRPC owns
  TokenBucket log_lines_;
  std::atomic<bool> stop_ = false;
  std::thread thread_;
};

}  // namespace gyrebox::access
