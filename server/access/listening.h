/// Listening sockets.
#pragma once

#include <absl/status/statusor.h>

#include <string>
#include <vector>

#include "discovery/descriptor.h"

namespace gyrebox::access {

struct Listening {
  std::vector<Descriptor> sockets;  ///< one for each address of the name
  std::string address;              ///< HOST:PORT
  std::string loopback;             ///< how gRPC reaches it from this machine
};

/// INVALID_ARGUMENT for an address that is not HOST:PORT.
absl::Status NoPort(const std::string& listen);

/// @param listen HOST:PORT; port 0 takes a free one. INVALID_ARGUMENT if it is malformed; FAILED_PRECONDITION if the
/// server cannot listen there.
absl::StatusOr<Listening> ListenOn(const std::string& listen);

/// A Unix socket that only the user of this process can open. Replaces a socket left by a server that is gone.
/// INVALID_ARGUMENT for a path that is too long; FAILED_PRECONDITION if something else is there.
absl::StatusOr<Descriptor> ListenOnUnix(const std::string& path);

}  // namespace gyrebox::access
