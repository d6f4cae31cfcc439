/// What must hold before a server starts.
#pragma once

#include <absl/status/status.h>

#include <string>

#include "access/authenticator.h"

namespace gyrebox::api {

/// INVALID_ARGUMENT for an address that is not HOST:PORT, or one off this machine without TLS.
absl::Status CheckListen(const std::string& listen, bool tls);

/// FAILED_PRECONDITION if calls need tokens and no admin has a valid one.
absl::Status CheckAdmin(access::Authenticator& authenticator);

}  // namespace gyrebox::api
