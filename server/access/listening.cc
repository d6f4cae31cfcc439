#include "access/listening.h"

#include <arpa/inet.h>
#include <linux/tcp.h>
#include <netdb.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>

#include <cerrno>
#include <cstring>
#include <memory>

#include "study/return_if_error.h"

namespace gyrebox::access {

constexpr int kMilliseconds = 20'000;

static void SetOption(int fd, int level, int name, int value) { setsockopt(fd, level, name, &value, sizeof(value)); }

static uint16_t PortOf(int fd) {
  sockaddr_storage address{};
  socklen_t size = sizeof(address);
  getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size);
  return ntohs(address.ss_family == AF_INET6 ? reinterpret_cast<const sockaddr_in6&>(address).sin6_port
                                             : reinterpret_cast<const sockaddr_in&>(address).sin_port);
}

static void SetPort(sockaddr* address, uint16_t port) {
  if (address->sa_family == AF_INET6) {
    reinterpret_cast<sockaddr_in6*>(address)->sin6_port = htons(port);
  } else {
    reinterpret_cast<sockaddr_in*>(address)->sin_port = htons(port);
  }
}

/// Listens on one address; on failure, returns a closed descriptor and sets errno.
static Descriptor ListenOnOne(const addrinfo& address) {
  Descriptor fd(socket(address.ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
  if (!fd.open()) return fd;
  SetOption(fd.get(), SOL_SOCKET, SO_REUSEADDR, 1);
  if (address.ai_family == AF_INET6) SetOption(fd.get(), IPPROTO_IPV6, IPV6_V6ONLY, 0);
  // Accepted connections inherit these.
  SetOption(fd.get(), IPPROTO_TCP, TCP_NODELAY, 1);
  SetOption(fd.get(), IPPROTO_TCP, TCP_USER_TIMEOUT, kMilliseconds);
  if (bind(fd.get(), address.ai_addr, address.ai_addrlen) != 0 || listen(fd.get(), SOMAXCONN) != 0) fd.Close();
  return fd;
}

/// Address of a socket as gRPC reaches it from this machine.
static std::string Loopback(int fd) {
  sockaddr_storage address{};
  socklen_t size = sizeof(address);
  getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size);
  const std::string port = ":" + std::to_string(PortOf(fd));
  char text[INET6_ADDRSTRLEN] = "";
  if (address.ss_family == AF_INET) {
    const in_addr& host = reinterpret_cast<const sockaddr_in&>(address).sin_addr;
    if (host.s_addr == htonl(INADDR_ANY)) return "ipv4:127.0.0.1" + port;
    inet_ntop(AF_INET, &host, text, sizeof(text));
    return "ipv4:" + std::string(text) + port;
  }
  const in6_addr& host = reinterpret_cast<const sockaddr_in6&>(address).sin6_addr;
  inet_ntop(AF_INET6, IN6_IS_ADDR_UNSPECIFIED(&host) ? &in6addr_loopback : &host, text, sizeof(text));
  return "ipv6:[" + std::string(text) + "]" + port;
}

static absl::Status CannotListen(const std::string& where, const std::string& why) {
  return absl::FailedPreconditionError("cannot listen on " + where + ": " + why);
}

absl::Status NoPort(const std::string& listen) {
  return absl::InvalidArgumentError(listen + " has no port; give HOST:PORT, such as 127.0.0.1:7421");
}

absl::StatusOr<Listening> ListenOn(const std::string& listen) {
  const size_t colon = listen.rfind(':');
  if (colon == std::string::npos) return NoPort(listen);
  std::string host = listen.substr(0, colon);
  const std::string name = host;
  if (host.starts_with("[") && host.ends_with("]")) host = host.substr(1, host.size() - 2);
  addrinfo hints{};
  hints.ai_family = AF_UNSPEC;
  hints.ai_socktype = SOCK_STREAM;
  hints.ai_flags = AI_PASSIVE | AI_NUMERICSERV;
  addrinfo* first = nullptr;
  if (const int error = getaddrinfo(host.c_str(), listen.c_str() + colon + 1, &hints, &first); error != 0) {
    return CannotListen(listen, gai_strerror(error));
  }
  const std::unique_ptr<addrinfo, void (*)(addrinfo*)> addresses(first, freeaddrinfo);
  Listening made;
  uint16_t port = 0;
  std::string why;
  for (const addrinfo* one = first; one != nullptr; one = one->ai_next) {
    if (port != 0) SetPort(one->ai_addr, port);
    Descriptor fd = ListenOnOne(*one);
    if (!fd.open()) {
      why = std::strerror(errno);
      // Do not share a name with another server. An address that is not available, as IPv6 for localhost, is skipped.
      if (errno == EADDRINUSE) return CannotListen(listen, why + "; is another server there already?");
      continue;
    }
    port = PortOf(fd.get());
    made.sockets.push_back(std::move(fd));
  }
  if (made.sockets.empty()) return CannotListen(listen, why);
  made.address = name + ":" + std::to_string(port);
  made.loopback = Loopback(made.sockets.front().get());
  return made;
}

static bool SomeoneListens(const sockaddr_un& address) {
  const Descriptor fd(socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
  return connect(fd.get(), reinterpret_cast<const sockaddr*>(&address), sizeof(address)) == 0;
}

/// Removes a socket left by a server that is gone.
static absl::Status Clear(const std::string& path, const sockaddr_un& address) {
  struct stat there {};
  if (lstat(path.c_str(), &there) != 0) return absl::OkStatus();
  if (!S_ISSOCK(there.st_mode)) return CannotListen(path, "a file is there already; give --socket another path");
  if (SomeoneListens(address)) return CannotListen(path, "another server is there already");
  unlink(path.c_str());
  return absl::OkStatus();
}

absl::StatusOr<Descriptor> ListenOnUnix(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (path.empty() || path.size() >= sizeof(address.sun_path)) {
    return absl::InvalidArgumentError("the path of the Unix socket, " + path + ", has " + std::to_string(path.size()) +
                                      " bytes; give --socket a path of 1 to " +
                                      std::to_string(sizeof(address.sun_path) - 1));
  }
  path.copy(address.sun_path, path.size());
  GYREBOX_RETURN_IF_ERROR(Clear(path, address));
  Descriptor fd(socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
  // Set the mode before listen(): nobody can connect until then.
  if (!fd.open() || bind(fd.get(), reinterpret_cast<const sockaddr*>(&address), sizeof(address)) != 0 ||
      chmod(path.c_str(), S_IRUSR | S_IWUSR) != 0 || listen(fd.get(), SOMAXCONN) != 0) {
    return CannotListen(path, std::string(std::strerror(errno)) + "; give --socket a path where a socket may be made");
  }
  return fd;
}

}  // namespace gyrebox::access
