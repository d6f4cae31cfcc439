/// Names of resources, and page tokens.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>

#include "store/names.h"

namespace gyrebox::api {

using store::ParseRunName;
using store::ParseStudyName;
using store::RunName;

/// A token that stands for a place in a list; `list` tells lists apart.
std::string MakePageToken(const std::string& list, int64_t place);

/// The place that a token stands for; `start` for an empty one. INVALID_ARGUMENT for a token of another list.
absl::StatusOr<int64_t> ParsePageToken(const std::string& list, const std::string& token, int64_t start);

/// The size of a page: the default for 0, never over the most. INVALID_ARGUMENT below 0.
absl::StatusOr<int> PageSize(int asked, int standard, int most);

}  // namespace gyrebox::api
