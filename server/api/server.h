/// The whole server in one process, behind one gRPC port.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "access/connections.h"
#include "access/limits.h"
#include "access/tls.h"
#include "api/server_context.h"
#include "executor/executor.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::api {

/// Exit code of a server that cannot call itself any more: its supervisor restarts it.
inline constexpr int kDeafExit = 8;

struct ServerOptions {
  std::string listen = "127.0.0.1:0";  ///< HOST:PORT; port 0 takes a free one
  executor::Options executor;
  double half_life_seconds = 3600;  ///< after which past device use counts half
  access::Quotas quotas = {};
  std::optional<access::TlsPair> tls = std::nullopt;  ///< with it every call needs a token; without, this machine only
  access::LimitOptions limits = {};
  retention::Rules retention = {};
  std::string socket = "";                    ///< path of a Unix socket for the user of the server; empty for none
  access::ConnectionBounds connections = {};  ///< in_all 0 for as many as the descriptor limit allows
  std::function<absl::Status()> self_call = nullptr;  ///< replaces the call to itself in tests
};

class Server {
 public:
  virtual ~Server() = default;

  /// HOST:PORT that it listens on.
  virtual const std::string& address() const = 0;

  /// Secret with which users of this machine call the address; empty with TLS. The Unix socket needs no secret.
  virtual const std::string& local_secret() const = 0;

  /// Uses another certificate from the next connection on. Only with TLS.
  virtual void UseCertificate(access::TlsPair pair) = 0;

  /// Shuts down in order: accepts no new studies, notifies streams, stops the device, answers calls. Takes a second or
  /// two.
  virtual void Stop() = 0;

  /// Starts to work and to answer. INVALID_ARGUMENT for an address off this machine without TLS, or a path that is too
  /// long; FAILED_PRECONDITION if the port is taken, or with TLS if no admin has a valid token.
  static absl::StatusOr<std::unique_ptr<Server>> Start(const ServerOptions& options,
                                                       std::unique_ptr<store::Store> store,
                                                       std::unique_ptr<kernels::Device> device,
                                                       const std::string& device_reason);
};

}  // namespace gyrebox::api
