// Interprets any bytes as the actions of a client on a connection to a real server, valid or not: frames of every kind,
// metadata that gRPC itself reserves, fragmented header blocks, unfinished bodies. The server must keep answering
// others. One byte selects the next action and the following ones its parameters; the server's responses guide the
// search.
#include <signal.h>

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstdio>
#include <deque>
#include <optional>
#include <string>

#include "check.h"
#include "http2_peer.h"
#include "live_server.h"

namespace gyrebox::test {
namespace {

/// Kinds of responses; libFuzzer keeps an input that produces a new one.
__attribute__((used, section("__libfuzzer_extra_counters"))) std::array<uint8_t, 4096> answers;

constexpr const char* kPaths[] = {
    "/gyrebox.v1.MachineService/GetMachine",
    "/gyrebox.v1.MachineService/WatchMachine",
    "/gyrebox.v1.StudyService/CheckStudy",
    "/gyrebox.v1.StudyService/ListStudies",
    "/gyrebox.v1.RunService/WatchRuns",
    "/gyrebox.v1.RunService/AdjustRuns",
    "/gyrebox.v1.UserService/ListTokens",
    "/gyrebox.v1.AnalysisService/AnalyseStudy",
    "/grpc.health.v1.Health/Check",
    "/grpc.health.v1.Health/Watch",
    "/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo",
    "/gyrebox.v1.MachineService/NoSuchCall",
    "/",
    "",
    "*",
    "/a/b/c?d=e#f",
};

/// Header names with a meaning in HTTP/2, gRPC or this server: RFC 9113, section 8.3, gRPC's PROTOCOL-HTTP2.md, and
/// src/core/lib/transport/metadata_batch.h of gRPC 1.51.
constexpr const char* kKeys[] = {
    "grpclb_client_stats",
    "grpc-timeout",
    "te",
    "grpc-encoding",
    "grpc-accept-encoding",
    "grpc-previous-rpc-attempts",
    "grpc-retry-pushback-ms",
    "grpc-tags-bin",
    "grpc-trace-bin",
    "grpc-server-stats-bin",
    "lb-token",
    "lb-cost-bin",
    "x-endpoint-load-metrics-bin",
    "grpc-internal-encoding-request",
    "grpc-internal-stream-encoding-request",
    "grpc-status",
    "grpc-message",
    "grpc-status-details-bin",
    "grpc-message-type",
    "x-envoy-peer-metadata",
    "host",
    "user-agent",
    "content-type",
    "content-length",
    "content-encoding",
    "accept-encoding",
    "authorization",
    "connection",
    "transfer-encoding",
    "upgrade",
    ":authority",
    ":path",
    ":method",
    ":scheme",
    ":status",
    ":protocol",
    "x-any",
    "x-any-bin",
    "X-Upper",
    "",
};

constexpr const char* kValues[] = {
    "",
    "x",
    "trailers",
    "gzip",
    "identity,deflate,gzip",
    "application/grpc",
    "100m",
    "0n",
    "-1S",
    "99999999999999H",
    "AAECAwT/",
    "=not base64=",
    "POST",
    "GET",
    "https",
    "Bearer x",
    "application/json",
    "0",
    "18446744073709551616",
    "localhost",
};

class Reader {
 public:
  Reader(const uint8_t* data, size_t size) : data_(data), size_(size) {}
  bool empty() const { return size_ == 0; }
  uint8_t Byte() {
    if (size_ == 0) return 0;
    --size_;
    return *data_++;
  }
  uint32_t Number(int bytes) {
    uint32_t value = 0;
    for (int i = 0; i < bytes; ++i) value = value << 8 | Byte();
    return value;
  }
  std::string Bytes(size_t count) {
    count = std::min(count, size_);
    std::string text(reinterpret_cast<const char*>(data_), count);
    data_ += count;
    size_ -= count;
    return text;
  }
  template <class T, size_t kCount>
  T Of(T (&values)[kCount]) {
    return values[Byte() % kCount];
  }

 private:
  const uint8_t* data_;
  size_t size_;
};

std::string ValueFrom(Reader& in) {
  const uint8_t kind = in.Byte();
  switch (kind % 4) {
    case 0:
      return in.Of(kValues);
    case 1:
      return in.Bytes(kind / 4);
    case 2:
      return std::string(kind / 4 * size_t{1024}, static_cast<char>(in.Byte()));  // up to 63 KiB of one byte value
    default:
      return std::string(kind / 4, static_cast<char>(in.Byte()));
  }
}

class Session {
 public:
  explicit Session(Reader in) : in_(in) {
    const uint8_t how = in_.Byte();
    with_token_ = (how & 2) != 0;
    server_ = (how & 1) != 0 ? &Secured() : &Plain();
    Connect(how / 4);
  }

  static LiveServer& Plain() {
    static LiveServer server(false);
    return server;
  }
  static LiveServer& Secured() {
    static LiveServer server(true);
    return server;
  }

  LiveServer& server() { return *server_; }

  void Perform() {
    constexpr int kMaxSteps = 64;
    for (int i = 0; i < kMaxSteps && !in_.empty(); ++i) Step();
    // The server has read everything once it answers the PING or closes the connection.
    peer_->Send(Frame(kPing, 0, 0, "the last"));
    bool answered = false;
    peer_->Receive(
        std::chrono::milliseconds(50),
        [&](uint8_t type, uint8_t flags, const std::string& payload) {
          Note(type, flags, payload);
          answered |= type == kPing && flags == kAck && payload == "the last";
        },
        [&] { return answered; });
  }

 private:
  void Connect(uint8_t how) {
    peer_.emplace(with_token_ ? server_->open_address() : server_->address(), server_->tls());
    next_stream_ = 1;
    if (how % 4 == 3) return;  // neither preface nor settings
    peer_->Send(kPreface);
    if (how % 4 != 2) peer_->Send(Frame(kSettings, 0, 0, ""));
  }

  // Each part of a frame is read in a separate statement: the evaluation order of arguments differs between compilers.
  void Step() {
    switch (in_.Byte() % 16) {
      case 0:
        return Call();
      case 1:
        return Data();
      case 2:
        return Settings();
      case 3:
        return Send(kResetStream, 0, Stream(), 1, 3);
      case 4:
        return Send(kPing, in_.Byte(), 0, 8, 0);
      case 5:
        return Send(kWindowUpdate, 0, Stream(), 4, 0);
      case 6:
        return SendAny(kContinuation);
      case 7:
        return SendAny(kHeaders);
      case 8:
        return Send(kGoAway, 0, 0, 8, 0);
      case 9:
        return Send(kPriority, 0, Stream(), 5, 0);
      case 10:
        return peer_->Send(in_.Bytes(in_.Byte()));
      case 11:
        return AnyFrame();
      case 12:
        return peer_->Receive(
            std::chrono::milliseconds(10),
            [&](uint8_t type, uint8_t flags, const std::string& payload) { Note(type, flags, payload); },
            [] { return false; });
      case 13:
        return Connect(in_.Byte());
      case 14:
        return peer_->EndSending();
      default:
        return Whole();
    }
  }

  /// A frame with this many zeros, then this many bytes of the input.
  void Send(FrameType type, uint8_t flags, uint32_t stream, size_t bytes, size_t zeros) {
    peer_->Send(Frame(type, flags, stream, std::string(zeros, '\0') + in_.Bytes(bytes)));
  }

  void SendAny(FrameType type) {
    const uint8_t flags = in_.Byte();
    const uint32_t stream = Stream();
    Send(type, flags, stream, in_.Byte(), 0);
  }

  /// Mostly the last stream, otherwise any small number.
  uint32_t Stream() {
    const uint8_t which = in_.Byte();
    return which < 128 ? next_stream_ - std::min(next_stream_, 2u) : which - 128u;
  }

  uint32_t NewStream() {
    next_stream_ += 2;
    return next_stream_ - 2;
  }

  std::string Metadata() {
    std::string block;
    const int count = in_.Byte() % 8;
    for (int i = 0; i < count; ++i) {
      const uint8_t how = in_.Byte();
      const std::string key = (how & 1) != 0 ? in_.Bytes(in_.Byte() % 64) : in_.Of(kKeys);
      const uint8_t form = std::array<uint8_t, 4>{0, 0x10, 0x40, 0}[how / 2 % 4];
      const std::string field = HpackField(key, ValueFrom(in_), form);
      for (int again = 0; again <= (how / 8) % 4; ++again) block += field;
    }
    return block;
  }

  void Call() {
    const uint8_t how = in_.Byte();
    const std::string head = server_->CallHead(in_.Of(kPaths), with_token_);
    const std::string block = (how & 1) != 0 ? Metadata() + head : head + Metadata();
    constexpr size_t kMaxPieces = 200;
    const size_t piece = std::max<size_t>((how & 2) != 0 ? 1 + in_.Byte() : 16384, block.size() / kMaxPieces);
    const uint32_t stream = NewStream();
    for (size_t at = 0; at < block.size(); at += piece) {
      const bool last = at + piece >= block.size() && (how & 4) == 0;
      const uint8_t end = at == 0 && (how & 8) != 0 ? kEndStream : 0;
      peer_->Send(
          Frame(at == 0 ? kHeaders : kContinuation, (last ? kEndHeaders : 0) | end, stream, block.substr(at, piece)));
    }
  }

  void Data() {
    const uint8_t how = in_.Byte();
    const std::string bytes = in_.Bytes(in_.Byte());
    const uint32_t claimed = (how & 1) != 0 ? in_.Number(4) : static_cast<uint32_t>(bytes.size());
    const uint8_t compressed = how / 4 % 4;
    peer_->Send(Frame(kData, (how & 2) != 0 ? kEndStream : 0, Stream(), GrpcMessage(bytes, claimed, compressed)));
  }

  void Settings() {
    std::string payload;
    const int count = in_.Byte() % 8;
    for (int i = 0; i < count; ++i) {
      payload += BigEndian(in_.Byte(), 2);
      payload += BigEndian(in_.Number(4), 4);
    }
    const uint8_t flags = in_.Byte() % 2;
    peer_->Send(Frame(kSettings, flags, 0, payload));
  }

  void AnyFrame() {
    const uint8_t type = in_.Byte(), flags = in_.Byte();
    const uint32_t stream = in_.Number(4);
    const uint32_t claimed = in_.Number(3);
    const std::string payload = in_.Bytes(in_.Byte());
    peer_->Send(FrameClaiming(claimed % 4 == 0 ? static_cast<uint32_t>(payload.size()) : claimed, type, flags, stream,
                              payload));
  }

  /// A complete unary call with a message from the input.
  void Whole() {
    const std::string path = in_.Of(kPaths), extra = Metadata(), bytes = in_.Bytes(in_.Byte());
    const uint32_t stream = NewStream();
    peer_->Send(Frame(kHeaders, kEndHeaders, stream, server_->CallHead(path, with_token_) + extra) +
                Frame(kData, kEndStream, stream, GrpcMessage(bytes, static_cast<uint32_t>(bytes.size()))));
  }

  void Note(uint8_t type, uint8_t flags, const std::string& payload) {
    size_t kind = type * size_t{31} + flags * size_t{7};
    // Error codes: RFC 9113, sections 6.4 and 6.8.
    if (type == kResetStream && payload.size() == 4) kind += 1000 + static_cast<uint8_t>(payload[3]);
    if (type == kGoAway && payload.size() >= 8) kind += 1500 + static_cast<uint8_t>(payload[7]);
    if (type == kHeaders || type == kData) kind += 2000 + std::min<size_t>(payload.size() / 4, 500);
    ++answers[kind % answers.size()];
  }

  Reader in_;
  bool with_token_ = false;  ///< without TLS: through the socket that needs no token
  LiveServer* server_ = nullptr;
  std::optional<Http2Peer> peer_;
  uint32_t next_stream_ = 1;
};

/// A fault may show only after the next input has begun, so the last few inputs are kept.
void ReportEnd(const LiveServer& server, const std::deque<std::string>& recent) {
  std::fprintf(stderr, "%s\nThe server has ended. The last inputs, newest last:\n", server.Log().c_str());
  for (const std::string& input : recent) {
    for (const char byte : input) std::fprintf(stderr, "%02x", static_cast<uint8_t>(byte));
    std::fputc('\n', stderr);
  }
}

/// @param thoroughly also check that a new client gets a response.
void CheckServer(LiveServer& server, bool thoroughly, const std::deque<std::string>& recent) {
  const bool answers = !thoroughly || server.Answers();
  if (!server.Running()) ReportEnd(server, recent);
  Check(server.Running(), "a connection ended the server");
  Check(answers, "the server runs and does not answer");
}

}  // namespace
}  // namespace gyrebox::test

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  using namespace gyrebox::test;
  static std::deque<std::string>& recent = *new std::deque<std::string>;
  static int count = 0;
  signal(SIGPIPE, SIG_IGN);
  recent.emplace_back(reinterpret_cast<const char*>(data), size);
  if (recent.size() > 8) recent.pop_front();
  Session session(Reader(data, size));
  session.Perform();
  constexpr int kEach = 50;
  CheckServer(session.server(), ++count % kEach == 1, recent);
  return 0;
}
