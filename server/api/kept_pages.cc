#include "api/kept_pages.h"

#include <algorithm>

#include "api/page_token.h"
#include "status/status.h"

namespace gyrebox::api {

/// An offset identifies a page among all answers: answer number times this, plus page number.
constexpr int64_t kPagesOfAnswer = int64_t{1} << 24;

static std::string TokenOf(const std::string& list, int64_t answer, size_t page) {
  return MakePageToken(list, answer * kPagesOfAnswer + static_cast<int64_t>(page));
}

std::string KeptPages::Keep(const std::string& list, std::vector<std::string> pages) {
  std::lock_guard lock(mutex_);
  Answer& answer = answers_[++last_];
  for (const std::string& page : pages) answer.bytes += page.size();
  answer.pages = std::move(pages);
  answer.used = Clock::now();
  MakeRoomLocked();
  return TokenOf(list, last_, 1);
}

void KeptPages::MakeRoomLocked() {
  std::erase_if(answers_, [now = Clock::now()](const auto& entry) { return now - entry.second.used > kKeptFor; });
  size_t bytes = 0;
  for (const auto& [number, answer] : answers_) bytes += answer.bytes;
  while (answers_.size() > 1 && (answers_.size() > kMaxAnswers || bytes > kMaxBytes)) {
    const auto oldest = std::min_element(answers_.begin(), std::prev(answers_.end()),
                                         [](const auto& a, const auto& b) { return a.second.used < b.second.used; });
    bytes -= oldest->second.bytes;
    answers_.erase(oldest);
  }
}

absl::StatusOr<std::string> KeptPages::Find(const std::string& list, const std::string& token, std::string* next) {
  const auto offset = ParsePageToken(list, token, 0);
  if (!offset.ok()) return offset.status();
  const int64_t number = *offset / kPagesOfAnswer;
  const auto page = static_cast<size_t>(*offset % kPagesOfAnswer);
  std::lock_guard lock(mutex_);
  MakeRoomLocked();
  const auto found = answers_.find(number);
  if (found == answers_.end() || page >= found->second.pages.size()) {
    return WithReason(
        absl::AbortedError("the pages of this answer are not kept any more; start again without page_token"),
        "PAGES_EXPIRED");
  }
  found->second.used = Clock::now();
  *next = page + 1 < found->second.pages.size() ? TokenOf(list, number, page + 1) : "";
  return found->second.pages[page];
}

}  // namespace gyrebox::api
