/// What a person gives to reach a server.
#pragma once

#include <string>

#include "lib/client.h"

namespace gyrebox::client {

/// Reads who vouches for the server, and the token: from its file, else from GYREBOX_TOKEN, never from the command
/// line, which all on the machine may see. Without TLS it looks for a server of this user's on the address, or for the
/// one that runs where no address is given, and how to get in. Returns what is wrong; empty where nothing is.
std::string FillEndpoint(const std::string& authority_file, const std::string& token_file, Endpoint* endpoint);

}  // namespace gyrebox::client
