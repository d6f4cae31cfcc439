#include "api/page_token.h"

#include <absl/strings/escaping.h>
#include <absl/strings/numbers.h>

#include <algorithm>

namespace gyrebox::api {

/// Hash that distinguishes lists: FNV-1a, 64 bits (Fowler, Noll, Vo; draft-eastlake-fnv).
static std::string Mark(const std::string& list) {
  uint64_t hash = 0xcbf29ce484222325;
  for (const unsigned char c : list) hash = (hash ^ c) * 0x100000001b3;
  return std::to_string(hash) + ":";
}

std::string MakePageToken(const std::string& list, int64_t offset) {
  return absl::WebSafeBase64Escape(Mark(list) + std::to_string(offset));
}

absl::StatusOr<int64_t> ParsePageToken(const std::string& list, const std::string& token, int64_t start) {
  if (token.empty()) return start;
  std::string text;
  int64_t offset = 0;
  const std::string mark = Mark(list);
  if (absl::WebSafeBase64Unescape(token, &text) && text.starts_with(mark) &&
      absl::SimpleAtoi(text.substr(mark.size()), &offset) && offset >= 0) {
    return offset;
  }
  return absl::InvalidArgumentError("page_token is not one that this list gave; start again without it");
}

absl::StatusOr<int> PageSize(int asked, int standard, int most) {
  if (asked < 0) return absl::InvalidArgumentError("page_size is below 0; at least 1, or 0 for the default");
  return asked == 0 ? standard : std::min(asked, most);
}

}  // namespace gyrebox::api
