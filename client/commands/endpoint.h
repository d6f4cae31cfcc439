/// Options that select a server.
#pragma once

#include <string>

#include "lib/client.h"

namespace gyrebox::client {

/// Reads the CA certificate of the server, and the token: from its file, else from GYREBOX_TOKEN, never from the
/// command line, which everyone on the machine may see. Without TLS it finds a local server of this user at the
/// address, or the running one if no address is given, and its socket or token. Returns the fault; empty for none.
std::string FillEndpoint(const std::string& authority_file, const std::string& token_file, Endpoint* endpoint);

}  // namespace gyrebox::client
