/// Secrets of tokens.
#pragma once

#include <string>

namespace gyrebox::access {

/// 256 random bits from the system's generator, in the characters of RFC 6750 (b64token), after a prefix by which
/// scanners recognise leaked secrets.
std::string NewSecret();

/// SHA-256 (FIPS 180-4), 32 bytes. A secret of 256 random bits cannot be guessed from it, so no salt or slow hash is
/// needed.
std::string HashOf(const std::string& secret);

/// The secret in "Bearer SECRET" (RFC 6750, section 2.1); empty if there is none.
std::string SecretIn(const std::string& authorization);

}  // namespace gyrebox::access
