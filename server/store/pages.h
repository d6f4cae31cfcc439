/// Reads what is readable in a damaged database, page by page and directly from the file; never writes to it. SQLite
/// itself abandons a table at its first bad page. The file format is SQLite's published one
/// (https://www.sqlite.org/fileformat2.html).
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace gyrebox::store {

/// A value of a row: null, integer, real, text or blob.
struct Text {
  std::string bytes;
};
struct Bytes {
  std::string bytes;
};
using Value = std::variant<std::monostate, int64_t, double, Text, Bytes>;

/// A row as stored in its page.
struct RawRow {
  std::optional<int64_t> rowid;  ///< none in an index or in a table WITHOUT ROWID
  std::vector<Value> values;
};

/// The pages of a database, including newer committed ones from its write-ahead log.
class PageFile {
 public:
  /// NOT_FOUND if the file cannot be opened.
  static absl::StatusOr<PageFile> Open(const std::string& path);
  ~PageFile();
  PageFile(PageFile&&) noexcept;
  PageFile(const PageFile&) = delete;
  PageFile& operator=(const PageFile&) = delete;

  using Visit = std::function<void(const RawRow&)>;
  /// Visits every readable row below a root. Skips pages that are not valid tree pages and notes them as bad.
  void Walk(uint32_t root, const Visit& visit);
  /// Visits every row in pages that no walk reached, such as those below a bad page. `visit` receives the rows of one
  /// page at a time, and whether the page belongs to a table with row ids.
  void WalkRest(const std::function<void(bool is_table, const std::vector<RawRow>& rows)>& visit);

  const std::set<uint32_t>& bad_pages() const { return bad_; }
  int64_t bad_rows() const { return bad_rows_; }
  uint32_t page_count() const { return page_count_; }
  /// PRAGMA user_version from the file header; valid only if the header is intact.
  uint32_t layout();

 private:
  PageFile() = default;
  struct Node;

  void ReadLog(const std::string& path);
  /// Empty if the page cannot be read.
  std::string Read(uint32_t page);
  std::optional<Node> ToNode(uint32_t page);
  bool ReadCell(const Node& node, size_t cell, RawRow* row);
  bool ReadPayload(std::string_view local, uint64_t size, uint32_t overflow, std::string* payload);

  int file_ = -1, log_ = -1;
  uint32_t page_size_ = 4096, page_count_ = 0;
  std::map<uint32_t, int64_t> in_log_;  ///< offset in the log of the newest committed copy of a page
  std::set<uint32_t> seen_, bad_;
  int64_t bad_rows_ = 0;
};

}  // namespace gyrebox::store
