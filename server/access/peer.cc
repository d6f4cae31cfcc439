#include "access/peer.h"

#include <arpa/inet.h>
#include <netinet/in.h>

#include <cstring>

namespace gyrebox::access {

static Peer PeerOf4(const in_addr& address, uint16_t port) {
  char text[INET_ADDRSTRLEN] = "";
  inet_ntop(AF_INET, &address, text, sizeof(text));
  return {.name = "ipv4:" + std::string(text) + ":" + std::to_string(port),
          .network = text,
          .is_local = (ntohl(address.s_addr) >> 24) == IN_LOOPBACKNET};
}

static Peer PeerOf6(const sockaddr_in6& address) {
  if (IN6_IS_ADDR_V4MAPPED(&address.sin6_addr)) {
    in_addr inner{};
    std::memcpy(&inner, address.sin6_addr.s6_addr + 12, sizeof(inner));
    return PeerOf4(inner, ntohs(address.sin6_port));
  }
  char text[INET6_ADDRSTRLEN] = "";
  inet_ntop(AF_INET6, &address.sin6_addr, text, sizeof(text));
  Peer peer;
  peer.name = "ipv6:%5B" + std::string(text);
  // gRPC writes the scope of a link-local address as in RFC 6874.
  if (address.sin6_scope_id != 0) peer.name += "%25" + std::to_string(address.sin6_scope_id);
  peer.name += "%5D:" + std::to_string(ntohs(address.sin6_port));
  // Each machine chooses the last 64 bits as it likes (RFC 4291, section 2.5.1).
  peer.network = std::string(reinterpret_cast<const char*>(address.sin6_addr.s6_addr), 8);
  peer.is_local = IN6_IS_ADDR_LOOPBACK(&address.sin6_addr);
  return peer;
}

Peer PeerOf(const sockaddr_storage& address) {
  if (address.ss_family == AF_INET) {
    const auto& inner = reinterpret_cast<const sockaddr_in&>(address);
    return PeerOf4(inner.sin_addr, ntohs(inner.sin_port));
  }
  if (address.ss_family == AF_INET6) return PeerOf6(reinterpret_cast<const sockaddr_in6&>(address));
  return {.name = "unix:", .network = "", .is_local = true, .is_unix = true};
}

}  // namespace gyrebox::access
