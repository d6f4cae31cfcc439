/// The connection to a server.
#pragma once

#include <grpcpp/channel.h>

#include <memory>
#include <string>

namespace gyrebox::client {

/// How to reach a server.
struct Endpoint {
  std::string address;    ///< HOST:PORT, or unix:PATH
  std::string authority;  ///< PEM of the CA of the server's certificate; empty for a server without TLS
  std::string token;      ///< sent with every call, only over TLS or within this machine
};

/// A channel that connects at the first call.
std::shared_ptr<grpc::Channel> Connect(const Endpoint& endpoint);

}  // namespace gyrebox::client
