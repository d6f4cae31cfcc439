/// The calling user, and what that user may do.
#pragma once

#include <string>

#include "gyrebox/v1/user_service.pb.h"
#include "store/store.h"

namespace gyrebox::access {

struct User {
  std::string name;
  v1::Token::Role role = v1::Token::ROLE_UNSPECIFIED;
};

/// Caller of a server that asks for no tokens: a user of this machine.
inline User Local() { return {store::kLocalUser, v1::Token::ROLE_ADMIN}; }

/// Whether a user may change what belongs to an owner.
inline bool MayChange(const User& user, const std::string& owner) {
  return user.role == v1::Token::ROLE_ADMIN || user.name == owner;
}

}  // namespace gyrebox::access
