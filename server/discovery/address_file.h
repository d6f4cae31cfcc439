/// Address files: where a server for the users of this machine is, and how its user's programs connect to it. Each
/// running server has a small file that only its user can read. The server writes it; gyrebox and other clients read
/// it.
///
/// The files are named by host and port, such as 127.0.0.1_7421. Each holds lines of the form key=value: `address`,
/// HOST:PORT; `socket`, the path of the Unix socket, which needs no token; `token`, for calls to the address.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace gyrebox::access {

struct LocalServer {
  std::string address;
  std::string socket;
  std::string token;
};

/// $XDG_RUNTIME_DIR/gyrebox, else .local/state/gyrebox in the home of this user; empty if there is neither.
std::string AddressDirectory();

/// Writes the file of a server atomically: a reader sees all of it or none. Returns an error text; empty on success.
std::string WriteAddressFile(const std::string& directory, const LocalServer& server);

/// Removes the file of a server, unless another server has replaced it.
void RemoveAddressFile(const std::string& directory, const LocalServer& server);

/// The server at an address; nothing if there is no file that only this user can read.
std::optional<LocalServer> FindLocalServer(const std::string& directory, const std::string& address);

/// All servers whose Unix socket answers.
std::vector<LocalServer> RunningLocalServers(const std::string& directory);

}  // namespace gyrebox::access
