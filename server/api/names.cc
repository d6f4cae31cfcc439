#include "api/names.h"

#include <absl/strings/escaping.h>
#include <absl/strings/numbers.h>
#include <absl/strings/str_split.h>

#include <algorithm>
#include <vector>

namespace gyrebox::api {

/// A positive number without sign or leading zero; 0 where the text is none.
static int64_t ParseNumber(const std::string& text) {
  int64_t number = 0;
  if (!absl::SimpleAtoi(text, &number) || std::to_string(number) != text) return 0;
  return std::max<int64_t>(number, 0);
}

absl::StatusOr<int64_t> ParseStudyName(const std::string& name) {
  const std::vector<std::string> parts = absl::StrSplit(name, '/');
  if (parts.size() == 2 && parts[0] == "studies" && ParseNumber(parts[1]) > 0) return ParseNumber(parts[1]);
  if (name.empty()) return absl::InvalidArgumentError("the name of the study is missing; give studies/{study}");
  return absl::NotFoundError("there is no study " + name);
}

absl::StatusOr<RunName> ParseRunName(const std::string& name) {
  const std::vector<std::string> parts = absl::StrSplit(name, '/');
  if (parts.size() == 4 && parts[0] == "studies" && parts[2] == "runs") {
    const RunName parsed{ParseNumber(parts[1]), ParseNumber(parts[3])};
    if (parsed.study > 0 && parsed.run > 0) return parsed;
  }
  if (name.empty())
    return absl::InvalidArgumentError("the name of the run is missing; give studies/{study}/runs/{run}");
  return absl::NotFoundError("there is no run " + name);
}

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
