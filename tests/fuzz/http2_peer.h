/// A client that speaks HTTP/2 byte by byte: it sends any bytes, valid or not.
#pragma once

#include <arpa/inet.h>
#include <netinet/in.h>
#include <openssl/ssl.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <chrono>
#include <cstdint>
#include <functional>
#include <string>

#include "http2_bytes.h"

namespace gyrebox::test {

class Http2Peer {
 public:
  using OnFrame = std::function<void(uint8_t type, uint8_t flags, const std::string& payload)>;

  /// @param address HOST:PORT with a numeric host, or unix:PATH.
  /// @param tls null for a connection without TLS.
  Http2Peer(const std::string& address, SSL_CTX* tls) {
    socket_ = address.starts_with("unix:") ? ConnectUnix(address.substr(5)) : ConnectTcp(address);
    if (socket_ >= 0 && tls != nullptr) Secure(tls);
  }
  ~Http2Peer() {
    SSL_free(ssl_);
    Close();
  }
  Http2Peer(const Http2Peer&) = delete;
  Http2Peer& operator=(const Http2Peer&) = delete;

  bool open() const { return socket_ >= 0; }

  /// Sends all bytes, or closes the connection.
  void Send(const std::string& bytes) {
    size_t sent = 0;
    while (open() && sent < bytes.size()) {
      const int rest = static_cast<int>(bytes.size() - sent);
      const auto n = ssl_ != nullptr ? SSL_write(ssl_, bytes.data() + sent, rest)
                                     : send(socket_, bytes.data() + sent, static_cast<size_t>(rest), MSG_NOSIGNAL);
      if (n <= 0) return Close();
      sent += static_cast<size_t>(n);
    }
  }

  void EndSending() { shutdown(socket_, SHUT_WR); }

  /// Reads until the time limit, or until `enough` is true after a frame, and passes on each complete frame.
  void Receive(std::chrono::milliseconds limit, const OnFrame& on_frame, const std::function<bool()>& enough) {
    const auto end = std::chrono::steady_clock::now() + limit;
    while (open() && !enough()) {
      const auto left =
          std::chrono::duration_cast<std::chrono::milliseconds>(end - std::chrono::steady_clock::now()).count();
      if (left < 0 || !WaitToRead(static_cast<int>(left))) return;
      char bytes[16384];
      const auto n = ssl_ != nullptr ? SSL_read(ssl_, bytes, sizeof(bytes)) : recv(socket_, bytes, sizeof(bytes), 0);
      if (n <= 0) return Close();
      received_.append(bytes, static_cast<size_t>(n));
      HandOver(on_frame);
    }
  }

 private:
  static void Bound(int socket) {
    const timeval limit{.tv_sec = 2, .tv_usec = 0};
    setsockopt(socket, SOL_SOCKET, SO_SNDTIMEO, &limit, sizeof(limit));
    setsockopt(socket, SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof(limit));
  }

  template <class Address>
  static int Connect(const Address& address) {
    const int connection = socket(reinterpret_cast<const sockaddr&>(address).sa_family, SOCK_STREAM | SOCK_CLOEXEC, 0);
    Bound(connection);
    if (connect(connection, reinterpret_cast<const sockaddr*>(&address), sizeof(address)) == 0) return connection;
    close(connection);
    return -1;
  }

  static int ConnectTcp(const std::string& address) {
    const size_t colon = address.rfind(':');
    sockaddr_in to{};
    to.sin_family = AF_INET;
    to.sin_port = htons(static_cast<uint16_t>(std::stoi(address.substr(colon + 1))));
    inet_pton(AF_INET, address.substr(0, colon).c_str(), &to.sin_addr);
    return Connect(to);
  }

  static int ConnectUnix(const std::string& path) {
    sockaddr_un to{};
    to.sun_family = AF_UNIX;
    path.copy(to.sun_path, sizeof(to.sun_path) - 1);
    return Connect(to);
  }

  void Secure(SSL_CTX* tls) {
    ssl_ = SSL_new(tls);
    SSL_set_fd(ssl_, socket_);
    static constexpr unsigned char kProtocols[] = "\2h2";
    SSL_set_alpn_protos(ssl_, kProtocols, sizeof(kProtocols) - 1);
    if (SSL_connect(ssl_) != 1) Close();
  }

  void Close() {
    if (open()) close(socket_);
    socket_ = -1;
  }

  bool WaitToRead(int milliseconds) {
    if (ssl_ != nullptr && SSL_pending(ssl_) > 0) return true;
    pollfd ready{.fd = socket_, .events = POLLIN, .revents = 0};
    return poll(&ready, 1, milliseconds) > 0;
  }

  void HandOver(const OnFrame& on_frame) {
    constexpr size_t kFrameHeader = 9;
    const auto at = [&](size_t i) { return static_cast<uint8_t>(received_[i]); };
    while (received_.size() >= kFrameHeader) {
      const size_t length = size_t{at(0)} << 16 | size_t{at(1)} << 8 | at(2);
      if (received_.size() < kFrameHeader + length) return;
      on_frame(at(3), at(4), received_.substr(kFrameHeader, length));
      received_.erase(0, kFrameHeader + length);
    }
  }

  int socket_ = -1;
  SSL* ssl_ = nullptr;
  std::string received_;
};

}  // namespace gyrebox::test
