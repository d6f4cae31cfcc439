/// Where a server of this machine's own people is, and how its user's programs get in: a small file for each running
/// server, which only that user can read. The server writes it, and gyrebox and other clients read it.
///
/// The files are named by host and port, such as 127.0.0.1_7421. Each holds lines of the form key=value: `address`,
/// HOST:PORT; `socket`, the path of the Unix socket, by which no token is needed; `token`, for calls to the address.
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

/// $XDG_RUNTIME_DIR/gyrebox, else .local/state/gyrebox in the home of this user; empty where there is neither.
std::string AddressDirectory();

/// Writes the file of a server, in one piece: a reader sees all of it or none. Returns what is wrong; empty where
/// nothing is.
std::string WriteAddressFile(const std::string& directory, const LocalServer& server);

/// Removes the file of a server, unless another one has taken its place.
void RemoveAddressFile(const std::string& directory, const LocalServer& server);

/// The server on an address; nothing where there is no file that only this user can read.
std::optional<LocalServer> FindLocalServer(const std::string& directory, const std::string& address);

/// All whose Unix socket answers.
std::vector<LocalServer> RunningLocalServers(const std::string& directory);

}  // namespace gyrebox::access
