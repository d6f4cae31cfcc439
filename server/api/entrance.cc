#include "api/entrance.h"

#include <unistd.h>

#include <chrono>

namespace gyrebox::api {

constexpr int kHandshakeMilliseconds = 10'000;
constexpr int kIdleMilliseconds = 600'000;
constexpr int kMaxCallsPerConnection = 100;
constexpr int kMetadataBytes = 16 * 1024;
/// Max bytes of incomplete requests that gRPC may hold, over all connections.
constexpr size_t kTransportBytes = 64 << 20;
constexpr int kWindowBytes = 64 * 1024;

absl::StatusOr<std::unique_ptr<Entrance>> Entrance::Open(const std::string& listen, const std::string& socket,
                                                         const std::optional<access::TlsPair>& tls,
                                                         access::Connections& connections) {
  std::unique_ptr<Entrance> made(new Entrance);
  auto listening = access::ListenOn(listen);
  if (!listening.ok()) return listening.status();
  made->tcp_ = std::move(listening->sockets);
  made->address_ = listening->address;
  made->loopback_ = listening->loopback;
  if (!socket.empty()) {
    auto opened = access::ListenOnUnix(socket);
    if (!opened.ok()) return opened.status();
    made->unix_ = *std::move(opened);
    made->socket_path_ = socket;
  }
  if (tls) made->tls_ = std::make_shared<TlsCredentials>(*tls);
  made->connections_ = &connections;
  return made;
}

Entrance::~Entrance() { Stop(); }

static void AddBounds(grpc::ServerBuilder& builder) {
  grpc::ResourceQuota quota("transport");
  quota.Resize(kTransportBytes);
  builder.SetResourceQuota(quota);
  builder.AddChannelArgument(GRPC_ARG_SERVER_HANDSHAKE_TIMEOUT_MS, kHandshakeMilliseconds);
  builder.AddChannelArgument(GRPC_ARG_MAX_CONNECTION_IDLE_MS, kIdleMilliseconds);
  builder.AddChannelArgument(GRPC_ARG_MAX_CONCURRENT_STREAMS, kMaxCallsPerConnection);
  builder.AddChannelArgument(GRPC_ARG_MAX_METADATA_SIZE, kMetadataBytes);
  builder.AddChannelArgument(GRPC_ARG_HTTP2_STREAM_LOOKAHEAD_BYTES, kWindowBytes);
  builder.AddChannelArgument(GRPC_ARG_HTTP2_BDP_PROBE, 0);  // it would grow the window to megabytes
  builder.AddChannelArgument(GRPC_ARG_KEEPALIVE_TIME_MS, 60'000);
  builder.AddChannelArgument(GRPC_ARG_KEEPALIVE_TIMEOUT_MS, 20'000);
  builder.AddChannelArgument(GRPC_ARG_HTTP2_MIN_RECV_PING_INTERVAL_WITHOUT_DATA_MS, 20'000);
}

std::shared_ptr<grpc::experimental::ExternalConnectionAcceptor> Entrance::AddDoor(
    grpc::ServerBuilder& builder, const std::shared_ptr<grpc::ServerCredentials>& credentials) {
  using Type = grpc::ServerBuilder::experimental_type::ExternalConnectionType;
  return builder.experimental().AddExternalConnectionAcceptor(Type::FROM_FD, credentials);
}

void Entrance::AddTo(grpc::ServerBuilder& builder) {
  AddBounds(builder);
  const auto taker = [](const std::shared_ptr<Acceptor>& acceptor) {
    return [acceptor](int fd) {
      Acceptor::NewConnectionParameters parameters;
      parameters.fd = fd;
      acceptor->HandleNewConnection(&parameters);
    };
  };
  const std::shared_ptr<grpc::ServerCredentials> plain = grpc::InsecureServerCredentials();
  const auto tcp = taker(AddDoor(builder, tls_ != nullptr ? tls_ : plain));
  for (access::Descriptor& socket : tcp_) doors_.push_back({std::move(socket), tcp});
  if (unix_.open()) doors_.push_back({std::move(unix_), taker(AddDoor(builder, plain))});
}

void Entrance::Start() {
  acceptor_ = std::make_unique<access::Acceptor>(std::move(doors_), *connections_);
  acceptor_->Start();
}

void Entrance::Stop() {
  acceptor_.reset();
  if (!socket_path_.empty()) unlink(socket_path_.c_str());
  socket_path_.clear();
}

std::string Entrance::CertificateWarning() const {
  return tls_ == nullptr ? "" : access::EndWarning(tls_->pair(), std::chrono::system_clock::now());
}

}  // namespace gyrebox::api
