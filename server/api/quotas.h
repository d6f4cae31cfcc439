/// What one person may have, and ask for.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <string>

#include "api/rooms.h"

namespace gyrebox::api {

/// What a call asks for beyond what is there.
struct More {
  int64_t runs = 0;        ///< to wait for the device
  int64_t most_beads = 0;  ///< of any of them
};

/// RESOURCE_EXHAUSTED where a person would have more than the quotas allow, or has as many bytes already.
absl::Status CheckQuotas(const Rooms& rooms, const std::string& person, const More& more);

/// The same for the owner of a study. NOT_FOUND.
absl::Status CheckQuotasOfOwner(const Rooms& rooms, int64_t study, const More& more);

/// INVALID_ARGUMENT where a priority is none.
absl::Status CheckPriority(int priority);

}  // namespace gyrebox::api
