#include "access/secret.h"

#include <absl/strings/ascii.h>
#include <absl/strings/escaping.h>
#include <absl/strings/match.h>
#include <openssl/rand.h>
#include <openssl/sha.h>

#include <stdexcept>

namespace gyrebox::access {

constexpr char kMark[] = "gyrebox_";
constexpr char kScheme[] = "Bearer ";
constexpr size_t kSecretBytes = 32;

std::string NewSecret() {
  std::string bytes(kSecretBytes, '\0');
  if (RAND_bytes(reinterpret_cast<unsigned char*>(bytes.data()), static_cast<int>(bytes.size())) != 1) {
    throw std::runtime_error("the system has no random numbers");
  }
  return kMark + absl::WebSafeBase64Escape(bytes);
}

std::string HashOf(const std::string& secret) {
  std::string hash(SHA256_DIGEST_LENGTH, '\0');
  SHA256(reinterpret_cast<const unsigned char*>(secret.data()), secret.size(),
         reinterpret_cast<unsigned char*>(hash.data()));
  return hash;
}

std::string SecretIn(const std::string& authorization) {
  if (!absl::StartsWithIgnoreCase(authorization, kScheme)) return "";
  return std::string(absl::StripAsciiWhitespace(authorization.substr(sizeof(kScheme) - 1)));
}

}  // namespace gyrebox::access
