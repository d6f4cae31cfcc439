/// The files that a server proves itself with.
#pragma once

#include <absl/status/statusor.h>

#include <string>

namespace gyrebox::access {

struct TlsPair {
  std::string certificate;  ///< PEM, with the certificates that lead to its root after it
  std::string key;          ///< PEM
};

/// Reads a certificate and its key. FAILED_PRECONDITION that names the file and what is wrong with it: not readable,
/// not PEM, out of date, or a key of another certificate.
absl::StatusOr<TlsPair> ReadTlsPair(const std::string& certificate_file, const std::string& key_file);

}  // namespace gyrebox::access
