/// A client that speaks HTTP/2 byte by byte: it sends whatever it is told to, right or wrong.
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

namespace gyrebox::test {

/// RFC 9113, section 3.4.
inline const std::string kPreface = "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n";

/// RFC 9113, section 6.
enum FrameType : uint8_t {
  kData = 0,
  kHeaders = 1,
  kPriority = 2,
  kResetStream = 3,
  kSettings = 4,
  kPing = 6,
  kGoAway = 7,
  kWindowUpdate = 8,
  kContinuation = 9,
};
constexpr uint8_t kAck = 1, kEndStream = 1, kEndHeaders = 4;

inline std::string BigEndian(uint64_t value, int bytes) {
  std::string text;
  for (int i = bytes - 1; i >= 0; --i) text += static_cast<char>(value >> (8 * i));
  return text;
}

/// A frame whose length field may differ from the bytes that follow (RFC 9113, section 4.1).
inline std::string FrameClaiming(uint32_t length, uint8_t type, uint8_t flags, uint32_t stream,
                                 const std::string& payload) {
  return BigEndian(length, 3) + BigEndian(type, 1) + BigEndian(flags, 1) + BigEndian(stream, 4) + payload;
}

inline std::string Frame(uint8_t type, uint8_t flags, uint32_t stream, const std::string& payload) {
  return FrameClaiming(static_cast<uint32_t>(payload.size()), type, flags, stream, payload);
}

/// An integer of HPACK with a prefix of so many bits, under the bits of `first` (RFC 7541, section 5.1).
inline std::string HpackInteger(uint8_t first, int prefix_bits, size_t value) {
  const size_t most = (size_t{1} << prefix_bits) - 1;
  if (value < most) return std::string(1, static_cast<char>(first | value));
  std::string text(1, static_cast<char>(first | most));
  for (value -= most; value >= 128; value /= 128) text += static_cast<char>(value % 128 + 128);
  return text + static_cast<char>(value);
}

/// A header field with a literal name (RFC 7541, section 6.2); `form` is 0x00, 0x10 or 0x40.
inline std::string HpackField(const std::string& name, const std::string& value, uint8_t form = 0) {
  return std::string(1, static_cast<char>(form)) + HpackInteger(0, 7, name.size()) + name +
         HpackInteger(0, 7, value.size()) + value;
}

/// A message of gRPC: a flag, the length that it claims, and its bytes.
inline std::string GrpcMessage(const std::string& bytes, uint32_t claimed, uint8_t flag = 0) {
  return BigEndian(flag, 1) + BigEndian(claimed, 4) + bytes;
}

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

  /// Sends all of it, or closes the connection.
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

  /// Reads for so long, or until `enough` is true after a frame, and hands over each whole frame.
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
