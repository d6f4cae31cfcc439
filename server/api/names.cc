#include "api/names.h"

#include <absl/strings/escaping.h>
#include <absl/strings/numbers.h>

#include <algorithm>

namespace gyrebox::api {

std::string MakePageToken(const std::string& list, int64_t place) {
  return absl::WebSafeBase64Escape(list + ":" + std::to_string(place));
}

absl::StatusOr<int64_t> ParsePageToken(const std::string& list, const std::string& token, int64_t start) {
  if (token.empty()) return start;
  std::string text;
  int64_t place = 0;
  if (absl::WebSafeBase64Unescape(token, &text) && text.starts_with(list + ":") &&
      absl::SimpleAtoi(text.substr(list.size() + 1), &place) && place >= 0) {
    return place;
  }
  return absl::InvalidArgumentError("page_token is not one that this list gave; start again without it");
}

absl::StatusOr<int> PageSize(int asked, int standard, int most) {
  if (asked < 0) return absl::InvalidArgumentError("page_size is below 0; at least 1, or 0 for the default");
  return asked == 0 ? standard : std::min(asked, most);
}

}  // namespace gyrebox::api
