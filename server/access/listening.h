/// Sockets that listen.
#pragma once

#include <absl/status/statusor.h>

#include <string>
#include <vector>

#include "access/descriptor.h"

namespace gyrebox::access {

struct Listening {
  std::vector<Descriptor> sockets;  ///< one for each address that the name stands for
  std::string address;              ///< HOST:PORT
  std::string loopback;             ///< how gRPC reaches it from this machine
};

/// INVALID_ARGUMENT for an address that is not HOST:PORT.
absl::Status NoPort(const std::string& listen);

/// @param listen HOST:PORT; port 0 takes a free one. INVALID_ARGUMENT where it is not that; FAILED_PRECONDITION where
/// it cannot be listened on.
absl::StatusOr<Listening> ListenOn(const std::string& listen);

/// A Unix socket that only the user of this process can open. What a server that is gone left there is replaced.
/// INVALID_ARGUMENT for a path that is too long; FAILED_PRECONDITION where something else is there.
absl::StatusOr<Descriptor> ListenOnUnix(const std::string& path);

}  // namespace gyrebox::access
