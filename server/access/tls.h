/// The files that a server proves itself with.
#pragma once

#include <absl/status/statusor.h>

#include <chrono>
#include <string>

namespace gyrebox::access {

struct TlsPair {
  std::string certificate;                      ///< PEM, with the certificates that lead to its root after it
  std::string key;                              ///< PEM
  std::chrono::system_clock::time_point end{};  ///< of the certificate's time
};

/// Reads a certificate and its key. FAILED_PRECONDITION that names the file and what is wrong with it: not readable,
/// not PEM, out of date, or a key of another certificate.
absl::StatusOr<TlsPair> ReadTlsPair(const std::string& certificate_file, const std::string& key_file);

/// What to tell the people who look after a server whose certificate ends within 30 days; empty where there is time.
std::string EndWarning(const TlsPair& pair, std::chrono::system_clock::time_point now);

}  // namespace gyrebox::access
