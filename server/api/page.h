/// Pages of lists: bounded by a count and by bytes.
#pragma once

#include <google/protobuf/repeated_field.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "api/page_token.h"

namespace gyrebox::api {

/// Max bytes of the items of a page; a single item may be larger.
inline constexpr size_t kMaxPageBytes = 1 << 20;

/// Samples per page of a series, recorded or measured again from frames: default and max.
inline constexpr int kSamplesPerPage = 1000;
inline constexpr int kMaxSamplesPerPage = 10'000;

/// A requested page.
struct Page {
  std::string list;  ///< distinguishes lists
  int64_t from = 0;  ///< offset in the list
  int size = 0;      ///< max items

  /// Token of the page that starts at an offset.
  std::string TokenAt(int64_t offset) const { return MakePageToken(list, offset); }
};

/// Reads page_size and page_token. INVALID_ARGUMENT if either is invalid.
/// @param list identifies the list, including its filters: a token is valid for no other.
template <class Request>
absl::StatusOr<Page> PageOf(const Request& request, const std::string& list, int standard, int most,
                            int64_t start = 0) {
  const auto size = PageSize(request.page_size(), standard, most);
  if (!size.ok()) return size.status();
  const auto from = ParsePageToken(list, request.page_token(), start);
  if (!from.ok()) return from.status();
  return Page{list, *from, *size};
}

/// Bytes that an item takes in a page.
template <class Item>
size_t BytesInPage(const Item& item) {
  constexpr size_t kTagAndLength = 6;
  return item.ByteSizeLong() + kTagAndLength;
}

/// Moves items into a page until it is full: at most `size` items and kMaxPageBytes, but at least one item.
/// @return number of items moved; if some remain, another page must follow.
template <class Item>
int FillPage(std::vector<Item>* items, int size, google::protobuf::RepeatedPtrField<Item>* page) {
  size_t bytes = 0;
  for (Item& item : *items) {
    bytes += BytesInPage(item);
    if (page->size() >= size || (bytes > kMaxPageBytes && !page->empty())) break;
    *page->Add() = std::move(item);
  }
  return page->size();
}

/// Fills a page from a complete list, starting at the requested offset.
template <class Item, class Response>
void FillFrom(std::vector<Item> all, const Page& page, google::protobuf::RepeatedPtrField<Item>* items,
              Response* response) {
  const auto skipped = std::min<int64_t>(page.from, static_cast<int64_t>(all.size()));
  all.erase(all.begin(), all.begin() + skipped);
  const int taken = FillPage(&all, page.size, items);
  if (static_cast<size_t>(taken) < all.size()) response->set_next_page_token(page.TokenAt(page.from + taken));
}

}  // namespace gyrebox::api
