/// An HTTP/2 client (RFC 9113) that sends any frames, valid or not.
#pragma once

#include <arpa/inet.h>
#include <netinet/in.h>
#include <openssl/ssl.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

#include <cerrno>
#include <csignal>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "http2_bytes.h"

namespace gyrebox::test {

using Headers = std::vector<std::pair<std::string, std::string>>;

/// Literal fields, never indexed, without Huffman coding (RFC 7541, section 6.2.3).
inline std::string Hpack(const Headers& headers) {
  std::string block;
  for (const auto& [name, value] : headers) block += HpackField(name, value, 0x10);
  return block;
}

class RawHttp2 {
 public:
  struct Received {
    int type = -1;  ///< -1 if the connection has ended
    int flags = 0;
    uint32_t stream = 0;
    std::string payload;
  };

  /// @param host numeric IPv4 address.
  RawHttp2(int port, bool tls, const std::string& host = "127.0.0.1") : socket_(socket(AF_INET, SOCK_STREAM, 0)) {
    std::signal(SIGPIPE, SIG_IGN);  // the server may close the connection at any time
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<uint16_t>(port));
    inet_pton(AF_INET, host.c_str(), &address.sin_addr);
    const timeval limit{.tv_sec = 60, .tv_usec = 0};  // only ends a failing test
    setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof(limit));
    connected_ = connect(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof(address)) == 0;
    if (connected_ && tls) connected_ = StartTls();
  }
  ~RawHttp2() {
    SSL_free(ssl_);
    SSL_CTX_free(context_);
    close(socket_);
  }
  RawHttp2(const RawHttp2&) = delete;
  RawHttp2& operator=(const RawHttp2&) = delete;

  bool connected() const { return connected_; }
  int fd() const { return socket_; }
  /// Whether TLS holds decrypted bytes that the socket has already delivered.
  bool pending() const { return ssl_ != nullptr && SSL_pending(ssl_) > 0; }

  bool Send(const std::string& bytes) {
    size_t sent = 0;
    while (sent < bytes.size()) {
      const auto left = bytes.size() - sent;
      const ssize_t n = ssl_ != nullptr ? SSL_write(ssl_, bytes.data() + sent, static_cast<int>(left))
                                        : send(socket_, bytes.data() + sent, left, MSG_NOSIGNAL);
      if (n <= 0) return false;
      sent += static_cast<size_t>(n);
    }
    return true;
  }
  bool SendFrame(FrameType type, uint8_t flags, uint32_t stream, const std::string& payload) {
    return Send(Frame(type, flags, stream, payload));
  }
  /// Sends the client preface (RFC 9113, section 3.4).
  bool Begin() { return Send(kPreface) && SendFrame(kSettings, 0, 0, ""); }

  /// Opens a gRPC call, in as many frames as the headers need.
  bool Open(uint32_t stream, const std::string& path, const Headers& more) {
    Headers headers = {{":method", "POST"}, {":scheme", ssl_ != nullptr ? "https" : "http"},
                       {":path", path},     {":authority", "localhost"},
                       {"te", "trailers"},  {"content-type", "application/grpc"}};
    headers.insert(headers.end(), more.begin(), more.end());
    const std::string block = Hpack(headers);
    constexpr size_t kCapacity = 16384;  // initial SETTINGS_MAX_FRAME_SIZE
    for (size_t at = 0; at < block.size(); at += kCapacity) {
      const uint8_t flags = at + kCapacity >= block.size() ? kEndHeaders : 0;
      if (!SendFrame(at == 0 ? kHeaders : kContinuation, flags, stream, block.substr(at, kCapacity))) return false;
    }
    return true;
  }
  /// A complete call with an empty request.
  bool Call(uint32_t stream, const std::string& path, const Headers& more) {
    return Open(stream, path, more) && SendFrame(kData, kEndStream, stream, std::string(5, '\0'));
  }

  Received Read() {
    Received frame;
    const std::string head = ReadBytes(9);
    if (head.size() < 9) return frame;
    const auto byte = [&](size_t i) { return static_cast<uint32_t>(static_cast<unsigned char>(head[i])); };
    frame.payload = ReadBytes(byte(0) << 16 | byte(1) << 8 | byte(2));
    frame.type = static_cast<int>(byte(3));
    frame.flags = static_cast<int>(byte(4));
    frame.stream = byte(5) << 24 | byte(6) << 16 | byte(7) << 8 | byte(8);
    return frame;
  }
  /// Reads until a call or the connection ends. True if only the call ended.
  bool ReadToEnd(uint32_t stream) {
    for (;;) {
      const Received frame = Read();
      if (frame.type < 0) return false;
      if (frame.stream != stream) continue;
      const bool last = (frame.type == kHeaders || frame.type == kData) && (frame.flags & kEndStream) != 0;
      if (last || frame.type == kResetStream) return true;
    }
  }
  /// Reads until the peer closes.
  bool ReadToClose() {
    while (Read().type >= 0) {
    }
    return closed_;
  }

 private:
  bool StartTls() {
    context_ = SSL_CTX_new(TLS_client_method());
    ssl_ = SSL_new(context_);
    SSL_set_fd(ssl_, socket_);
    constexpr unsigned char kProtocols[] = {2, 'h', '2'};
    SSL_set_alpn_protos(ssl_, kProtocols, sizeof(kProtocols));
    return SSL_connect(ssl_) == 1;
  }
  std::string ReadBytes(size_t count) {
    std::string bytes(count, '\0');
    size_t have = 0;
    while (have < count) {
      const ssize_t n = ssl_ != nullptr ? SSL_read(ssl_, bytes.data() + have, static_cast<int>(count - have))
                                        : recv(socket_, bytes.data() + have, count - have, 0);
      if (n <= 0) {
        closed_ = n == 0 || errno == ECONNRESET || ssl_ != nullptr;
        break;
      }
      have += static_cast<size_t>(n);
    }
    bytes.resize(have);
    return bytes;
  }

  const int socket_;
  SSL_CTX* context_ = nullptr;
  SSL* ssl_ = nullptr;
  bool connected_ = false;
  bool closed_ = false;
};

}  // namespace gyrebox::test
