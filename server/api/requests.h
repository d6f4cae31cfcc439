/// Calls with a request id, which take effect once however often they are made.
#pragma once

#include <absl/status/statusor.h>
#include <google/protobuf/message.h>

#include <string>

#include "access/user.h"
#include "store/store.h"

namespace gyrebox::api {

/// INVALID_ARGUMENT if the id is malformed. @param content what the call asks for, without its id and etag.
absl::StatusOr<store::Request> ToRequest(const std::string& id, const std::string& user,
                                         const google::protobuf::Message& content);

/// Record of a call as the store keeps it. Leaves out the etag, which says what the caller had seen, not what it asks
/// for.
template <class Asked>
absl::StatusOr<store::Request> RequestOf(const Asked& asked, const access::User& user) {
  if (asked.request_id().empty()) return store::Request();
  Asked content = asked;
  content.clear_request_id();
  if constexpr (requires { content.clear_etag(); }) content.clear_etag();
  return ToRequest(asked.request_id(), user.name, content);
}

}  // namespace gyrebox::api
