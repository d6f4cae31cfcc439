/// Tokens and sizes of pages.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>

namespace gyrebox::api {

/// Token for an offset in a list; `list` distinguishes lists.
std::string MakePageToken(const std::string& list, int64_t offset);

/// The offset that a token stands for; `start` for an empty token. INVALID_ARGUMENT for a token of another list.
absl::StatusOr<int64_t> ParsePageToken(const std::string& list, const std::string& token, int64_t start);

/// Size of a page: `standard` for 0, at most `most`. INVALID_ARGUMENT below 0.
absl::StatusOr<int> PageSize(int asked, int standard, int most);

}  // namespace gyrebox::api
