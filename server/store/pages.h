/// Reads what can be read of a damaged database: page by page, straight from the file, and never into it. SQLite itself
/// gives a table up at its first bad page. The layout of the file is SQLite's published one
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

/// A row as it lies in its page.
struct RawRow {
  std::optional<int64_t> rowid;  ///< none in an index, and in a table that is one
  std::vector<Value> values;
};

/// The pages of a database, with those that its log holds newer and committed.
class PageFile {
 public:
  /// NOT_FOUND where there is no such file.
  static absl::StatusOr<PageFile> Open(const std::string& path);
  ~PageFile();
  PageFile(PageFile&&) noexcept;
  PageFile(const PageFile&) = delete;
  PageFile& operator=(const PageFile&) = delete;

  using Visit = std::function<void(const RawRow&)>;
  /// Every row that can be read below a root. Pages that are none of a tree are noted as bad, and passed by.
  void Walk(uint32_t root, const Visit& visit);
  /// Every row in pages that no walk came to: those below a bad page. `visit` is given the rows of one page at a time,
  /// and whether it is of a table with row ids.
  void WalkRest(const std::function<void(bool is_table, const std::vector<RawRow>& rows)>& visit);

  const std::set<uint32_t>& bad_pages() const { return bad_; }
  int64_t bad_rows() const { return bad_rows_; }
  uint32_t page_count() const { return page_count_; }
  /// One number of the header, where that is sound: PRAGMA user_version.
  uint32_t layout();

 private:
  PageFile() = default;
  struct Node;

  void ReadLog(const std::string& path);
  /// Empty where it cannot be read.
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
