/// Certificate and private key of a server.
#pragma once

#include <absl/status/statusor.h>

#include <chrono>
#include <string>

namespace gyrebox::access {

struct TlsPair {
  std::string certificate;                      ///< PEM, followed by the certificates up to its root
  std::string key;                              ///< PEM
  std::chrono::system_clock::time_point end{};  ///< expiry of the certificate
};

/// Reads a certificate and its key. FAILED_PRECONDITION that names the file and its fault: not readable, not PEM, out
/// of date, or a key of another certificate.
absl::StatusOr<TlsPair> ReadTlsPair(const std::string& certificate_file, const std::string& key_file);

/// Warning for the operators of a server whose certificate expires within 30 days; empty if there is time.
std::string EndWarning(const TlsPair& pair, std::chrono::system_clock::time_point now);

}  // namespace gyrebox::access
