/// How connections reach gRPC: listening sockets, bounds on incoming data, and the certificate.
#pragma once

#include <absl/status/statusor.h>
#include <grpcpp/grpcpp.h>

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "access/acceptor.h"
#include "access/connections.h"
#include "access/listening.h"
#include "access/tls.h"
#include "api/tls_credentials.h"

namespace gyrebox::api {

class Entrance {
 public:
  /// Opens the listening sockets, without accepting connections yet.
  /// @param socket path of the Unix socket, which never uses TLS; empty for none.
  static absl::StatusOr<std::unique_ptr<Entrance>> Open(const std::string& listen, const std::string& socket,
                                                        const std::optional<access::TlsPair>& tls,
                                                        access::Connections& connections);
  ~Entrance();

  /// Call before the server is built.
  void AddTo(grpc::ServerBuilder& builder);
  /// Starts to accept connections. Call after the server is built.
  void Start();
  /// Stops accepting connections. Call before the server is shut down.
  void Stop();

  /// HOST:PORT.
  const std::string& address() const { return address_; }
  /// The address as gRPC reaches it from this machine.
  const std::string& loopback() const { return loopback_; }

  /// Uses another certificate from now on. Only with TLS.
  void Use(access::TlsPair pair) { tls_->Use(std::move(pair)); }
  /// Warning that the certificate expires soon; empty if there is time, or no TLS.
  std::string CertificateWarning() const;

 private:
  Entrance() = default;
  using Acceptor = grpc::experimental::ExternalConnectionAcceptor;
  std::shared_ptr<Acceptor> AddDoor(grpc::ServerBuilder& builder,
                                    const std::shared_ptr<grpc::ServerCredentials>& credentials);

  std::string address_, loopback_, socket_path_;
  std::vector<access::Descriptor> tcp_;
  access::Descriptor unix_;
  std::shared_ptr<TlsCredentials> tls_;
  access::Connections* connections_ = nullptr;
  std::vector<access::Acceptor::Door> doors_;
  std::unique_ptr<access::Acceptor> acceptor_;
};

}  // namespace gyrebox::api
