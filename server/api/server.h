/// The whole server in one process: the rooms wired together behind one gRPC port.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <optional>
#include <string>

#include "access/limits.h"
#include "access/tls.h"
#include "api/rooms.h"
#include "executor/executor.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::api {

struct ServerOptions {
  std::string listen = "127.0.0.1:0";  ///< HOST:PORT; port 0 takes a free one
  executor::Options executor;
  Quotas quotas = {};
  std::optional<access::TlsPair> tls = std::nullopt;  ///< with it every call needs a token; without, this machine only
  access::LimitOptions limits = {};
  retention::Rules retention = {};
};

class Server {
 public:
  virtual ~Server() = default;

  /// HOST:PORT that it listens on.
  virtual const std::string& address() const = 0;

  /// Ends in order: no new studies, streams told, the device at rest, calls answered. Takes a second or two.
  virtual void Stop() = 0;

  /// Starts to work and to answer. INVALID_ARGUMENT for an address off this machine without TLS, FAILED_PRECONDITION
  /// where the port is taken, or with TLS where no admin has a valid token.
  static absl::StatusOr<std::unique_ptr<Server>> Start(const ServerOptions& options,
                                                       std::unique_ptr<store::Store> store,
                                                       std::unique_ptr<kernels::Device> device,
                                                       const std::string& device_reason);
};

}  // namespace gyrebox::api
