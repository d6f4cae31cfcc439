#include "access/acceptor.h"

#include <fcntl.h>
#include <linux/tcp.h>
#include <netinet/in.h>
#include <spdlog/spdlog.h>
#include <sys/epoll.h>
#include <sys/eventfd.h>
#include <sys/socket.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <cstring>

namespace gyrebox::access {

/// Period at which the traffic of open connections is checked; short, since much can arrive meanwhile.
constexpr int kTickMilliseconds = 20;
constexpr std::chrono::milliseconds kRest{20};
constexpr double kTurnedAwayLinesPerSecond = 1.0 / 60;
constexpr double kTurnedAwayLinesAtOnce = 3;
/// Tags of events: doors by index, connections by number with this bit set.
constexpr uint64_t kConnection = uint64_t{1} << 63;
constexpr uint64_t kWake = kConnection - 1;

static Descriptor Spare() { return Descriptor(open("/dev/null", O_RDONLY | O_CLOEXEC)); }

Acceptor::Acceptor(std::vector<Door> doors, Connections& connections)
    : doors_(std::move(doors)),
      connections_(connections),
      epoll_(epoll_create1(EPOLL_CLOEXEC)),
      wake_(eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK)),
      spare_(Spare()),
      log_lines_(kTurnedAwayLinesPerSecond, kTurnedAwayLinesAtOnce, TokenBucket::Clock::now()) {
  Watch(wake_.get(), kWake, EPOLLIN);
  for (size_t i = 0; i < doors_.size(); ++i) Watch(doors_[i].socket.get(), i, EPOLLIN);
}

void Acceptor::Watch(int fd, uint64_t tag, uint32_t events) const {
  epoll_event event{};
  event.events = events;
  event.data.u64 = tag;
  epoll_ctl(epoll_.get(), EPOLL_CTL_ADD, fd, &event);
}

void Acceptor::Start() {
  connections_.SetWake([this] { Wake(); });
  thread_ = std::thread([this] { Loop(); });
}

void Acceptor::Stop() {
  if (!thread_.joinable()) return;
  connections_.SetWake(nullptr);
  stop_ = true;
  Wake();
  thread_.join();
}

void Acceptor::Wake() const {
  const uint64_t one = 1;
  [[maybe_unused]] const ssize_t written = write(wake_.get(), &one, sizeof(one));
}

void Acceptor::Loop() {
  std::array<epoll_event, 64> events{};
  while (!stop_) {
    const int count = epoll_wait(epoll_.get(), events.data(), static_cast<int>(events.size()),
                                 taken_.empty() ? -1 : kTickMilliseconds);
    for (int i = 0; i < count; ++i) {
      const uint64_t tag = events[static_cast<size_t>(i)].data.u64;
      if (tag == kWake) {
        uint64_t times = 0;
        [[maybe_unused]] const ssize_t got = read(wake_.get(), &times, sizeof(times));
      } else if ((tag & kConnection) != 0) {
        Forget(tag & ~kConnection);  // gRPC shuts a connection down before it closes it
      } else {
        AcceptAll(doors_[tag]);
      }
    }
    NoteTraffic();
    ShutOverdue();
  }
}

void Acceptor::NoteTraffic() const {
  for (const auto& [number, fd] : taken_) {
    tcp_info info{};
    socklen_t size = sizeof(info);
    if (getsockopt(fd.get(), IPPROTO_TCP, TCP_INFO, &info, &size) != 0) continue;  // a Unix socket
    connections_.NoteTraffic(
        number, {static_cast<int64_t>(info.tcpi_bytes_received), static_cast<int64_t>(info.tcpi_bytes_sent)});
  }
}

/// Ends a connection at once and drops its pending data (connect(2), AF_UNSPEC): after shutdown(2) pending data would
/// still be read, and a peer that reads nothing would hold the connection open. Works through any descriptor of the
/// socket.
static void Abort(int fd) {
  sockaddr none{};
  none.sa_family = AF_UNSPEC;
  connect(fd, &none, sizeof(none));
}

void Acceptor::ShutOverdue() const {
  for (const uint64_t number : connections_.Overdue(Connections::Clock::now())) {
    const auto found = taken_.find(number);
    if (found == taken_.end()) continue;
    spdlog::debug("a connection was ended: no call in time, or too much that is no call");
    Abort(found->second.get());  // gRPC notices the end
  }
}

void Acceptor::AcceptAll(const Door& door) {
  // Bounded, so that other doors get their turn however many connections wait here.
  for (int i = 0; i < 64 && AcceptOne(door); ++i) {
  }
}

bool Acceptor::AcceptOne(const Door& door) {
  sockaddr_storage address{};
  socklen_t size = sizeof(address);
  Descriptor fd(accept4(door.socket.get(), reinterpret_cast<sockaddr*>(&address), &size, SOCK_NONBLOCK | SOCK_CLOEXEC));
  if (fd.open()) {
    HandOn(door, std::move(fd), PeerOf(address));
    return true;
  }
  if (errno == EAGAIN || errno == EWOULDBLOCK) return false;
  if (errno == EMFILE || errno == ENFILE || errno == ENOBUFS || errno == ENOMEM) TurnAwayOne(door);
  return true;  // other errors concern that connection alone (accept(2))
}

void Acceptor::TurnAwayOne(const Door& door) {
  LogTurnedAway(std::strerror(errno));
  connections_.NoteTurnedAway();
  spare_.Close();
  Descriptor(accept4(door.socket.get(), nullptr, nullptr, SOCK_CLOEXEC)).Close();
  spare_ = Spare();
  if (!spare_.open()) std::this_thread::sleep_for(kRest);  // another thread took the descriptor
}

void Acceptor::HandOn(const Door& door, Descriptor fd, const Peer& peer) {
  Descriptor second(fcntl(fd.get(), F_DUPFD_CLOEXEC, 0));
  if (!second.open()) {
    connections_.NoteTurnedAway();
    return LogTurnedAway(std::strerror(errno));
  }
  const auto number = connections_.Add(peer, Connections::Clock::now());
  if (!number) return LogTurnedAway("there are as many as may be, in all or from " + peer.name);
  Watch(second.get(), *number | kConnection, 0);  // EPOLLHUP is always reported
  taken_.emplace(*number, std::move(second));
  door.take(fd.Release());
}

void Acceptor::Forget(uint64_t number) {
  const auto found = taken_.find(number);
  if (found == taken_.end()) return;
  // Closing does not remove it while gRPC has the socket open too.
  epoll_ctl(epoll_.get(), EPOLL_CTL_DEL, found->second.get(), nullptr);
  taken_.erase(found);
  connections_.Remove(number);
}

void Acceptor::LogTurnedAway(const std::string& why) {
  if (log_lines_.Take(TokenBucket::Clock::now()) == 0) spdlog::warn("a connection was turned away: {}", why);
}

}  // namespace gyrebox::access
