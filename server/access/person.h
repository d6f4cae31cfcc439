/// Who calls, and what that person may do.
#pragma once

#include <string>

#include "gyrebox/v1/people_service.pb.h"
#include "store/store.h"

namespace gyrebox::access {

struct Person {
  std::string name;
  v1::Token::Role role = v1::Token::ROLE_UNSPECIFIED;
};

/// Whoever calls a server that asks for no tokens: this machine's own people.
inline Person Local() { return {store::kLocalPerson, v1::Token::ROLE_ADMIN}; }

/// Whether a person may change what belongs to an owner.
inline bool MayChange(const Person& person, const std::string& owner) {
  return person.role == v1::Token::ROLE_ADMIN || person.name == owner;
}

}  // namespace gyrebox::access
