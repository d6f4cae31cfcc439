/// Fields of a request that this server's schema lacks, as a client with a newer schema may send.
#pragma once

#include <absl/status/status.h>
#include <google/protobuf/message.h>

namespace gyrebox::api {

/// INVALID_ARGUMENT that names every message of a request with unknown fields, and their numbers. For requests that say
/// what to run or change, no part of which may be ignored.
absl::Status CheckAllKnown(const google::protobuf::Message& request);

}  // namespace gyrebox::api
