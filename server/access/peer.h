/// The other end of a connection.
#pragma once

#include <sys/socket.h>

#include <string>

namespace gyrebox::access {

struct Peer {
  std::string name;       ///< as gRPC writes it: ipv4:192.0.2.1:4711, ipv6:%5B2001:db8::1%5D:4711, unix:
  std::string network;    ///< key for counting connections: the IPv4 address, or the first half of the IPv6 one
  bool is_local = false;  ///< of this machine
  bool is_unix = false;   ///< on the Unix socket, which only the user of the server can reach
};

/// @param address as accept(2) gives it.
Peer PeerOf(const sockaddr_storage& address);

/// Whether gRPC's name of a peer denotes the Unix socket.
inline bool IsUnix(const std::string& name) { return name.starts_with("unix:"); }

}  // namespace gyrebox::access
