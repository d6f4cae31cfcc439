/// Calls that are done once, however often they are made.
#pragma once

#include <absl/status/statusor.h>
#include <google/protobuf/message.h>

#include <string>

#include "access/person.h"
#include "store/store.h"

namespace gyrebox::api {

/// INVALID_ARGUMENT where an id is none. @param content what the call asks for, without its id and etag.
absl::StatusOr<store::Request> ToRequest(const std::string& id, const std::string& person,
                                         const google::protobuf::Message& content);

/// The call that a request is, as the store keeps it. An etag says what the caller had seen, not what it asks for.
template <class Asked>
absl::StatusOr<store::Request> RequestOf(const Asked& asked, const access::Person& person) {
  if (asked.request_id().empty()) return store::Request();
  Asked content = asked;
  content.clear_request_id();
  if constexpr (requires { content.clear_etag(); }) content.clear_etag();
  return ToRequest(asked.request_id(), person.name, content);
}

}  // namespace gyrebox::api
