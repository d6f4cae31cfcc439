/// Fields of a request that this server's schema does not have, as a client of a newer schema may send.
#pragma once

#include <absl/status/status.h>
#include <google/protobuf/message.h>

namespace gyrebox::api {

/// INVALID_ARGUMENT that names every message of a request that holds unknown fields, with their numbers: for requests
/// that say what is to be run or changed, of which no part may be passed over.
absl::Status CheckAllKnown(const google::protobuf::Message& request);

}  // namespace gyrebox::api
