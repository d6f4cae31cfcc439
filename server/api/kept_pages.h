/// Keeps the pages of expensive answers for the calls that read on.
#pragma once

#include <absl/status/statusor.h>

#include <chrono>
#include <cstdint>
#include <map>
#include <mutex>
#include <string>
#include <vector>

namespace gyrebox::api {

/// Thread-safe. All pages of an answer are of one moment. Keeps them serialised for kKeptFor after the last access,
/// unless newer answers need the space.
class KeptPages {
 public:
  static constexpr std::chrono::minutes kKeptFor{2};
  static constexpr size_t kMaxAnswers = 16;
  static constexpr size_t kMaxBytes = 64 << 20;  ///< of all answers together; a single one may be larger

  /// First page of an answer. If there are more pages, gives it a token and keeps them.
  /// @param list identifies the request: the token is valid for no other.
  template <class Response>
  Response Start(const std::string& list, std::vector<Response> pages) {
    if (pages.size() > 1) {
      std::vector<std::string> texts;
      for (const Response& page : pages) texts.push_back(page.SerializeAsString());
      pages[0].set_next_page_token(Keep(list, std::move(texts)));
    }
    return std::move(pages[0]);
  }

  /// The page that a token stands for. INVALID_ARGUMENT for a token of another list; ABORTED, with the reason
  /// PAGES_EXPIRED, if the page is not kept any more.
  template <class Response>
  absl::StatusOr<Response> GoOn(const std::string& list, const std::string& token) {
    std::string next;
    const auto text = Find(list, token, &next);
    if (!text.ok()) return text.status();
    Response page;
    page.ParseFromString(*text);
    page.set_next_page_token(next);
    return page;
  }

 private:
  using Clock = std::chrono::steady_clock;
  struct Answer {
    std::vector<std::string> pages;
    size_t bytes = 0;
    Clock::time_point used;
  };

  /// Returns the token of the second page.
  std::string Keep(const std::string& list, std::vector<std::string> pages);
  absl::StatusOr<std::string> Find(const std::string& list, const std::string& token, std::string* next);
  void MakeRoomLocked();

  std::mutex mutex_;
  std::map<int64_t, Answer> answers_;  ///< guarded by mutex_
  int64_t last_ = 0;                   ///< number of the newest answer; guarded by mutex_
};

}  // namespace gyrebox::api
