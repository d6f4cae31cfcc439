#include "store/pages.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <bit>
#include <utility>

namespace gyrebox::store {

constexpr size_t kHeader = 100;  ///< bytes before the B-tree page header on page 1
constexpr uint8_t kIndexInside = 2, kTableInside = 5, kIndexLeaf = 10, kTableLeaf = 13;
constexpr uint64_t kLongestPayload = 1'000'000'000;

static uint32_t Big(std::string_view bytes, size_t at, size_t count) {
  uint32_t number = 0;
  for (size_t i = 0; i < count; ++i) number = number << 8 | static_cast<uint8_t>(bytes[at + i]);
  return number;
}

/// Reads a varint of 1 to 9 bytes. False if the bytes end too early.
static bool ReadVarint(std::string_view bytes, size_t* at, uint64_t* number) {
  *number = 0;
  for (int i = 0; i < 9; ++i) {
    if (*at >= bytes.size()) return false;
    const auto byte = static_cast<uint8_t>(bytes[(*at)++]);
    if (i == 8) {
      *number = *number << 8 | byte;
      return true;
    }
    *number = *number << 7 | (byte & 0x7Fu);
    if (byte < 0x80) return true;
  }
  return false;
}

static bool ReadValue(std::string_view bytes, uint64_t type, size_t* at, Value* value) {
  static constexpr size_t kLengths[] = {0, 1, 2, 3, 4, 6, 8, 8, 0, 0};
  if (type == 10 || type == 11) return false;
  const uint64_t length = type < 10 ? kLengths[type] : (type - 12) / 2;
  if (length > bytes.size() - *at) return false;
  const std::string_view own = bytes.substr(*at, length);
  *at += length;
  if (type >= 12) {
    if (type % 2 == 0) *value = Bytes{std::string(own)};
    if (type % 2 == 1) *value = Text{std::string(own)};
    return true;
  }
  if (type == 0) *value = std::monostate();
  if (type == 8 || type == 9) *value = static_cast<int64_t>(type - 8);
  if (type == 0 || type >= 8) return true;
  uint64_t number = (static_cast<uint8_t>(own[0]) & 0x80) != 0 ? ~uint64_t{0} : 0;
  for (const char byte : own) number = number << 8 | static_cast<uint8_t>(byte);
  if (type == 7) {
    *value = std::bit_cast<double>(number);
  } else {
    *value = static_cast<int64_t>(number);
  }
  return true;
}

/// Decodes a record. False unless the bytes are exactly one valid record.
static bool ReadRecord(std::string_view bytes, std::vector<Value>* values) {
  size_t at = 0;
  uint64_t header = 0;
  if (!ReadVarint(bytes, &at, &header) || header > bytes.size() || header < at) return false;
  size_t body = header;
  while (at < header) {
    uint64_t type = 0;
    if (!ReadVarint(bytes.substr(0, header), &at, &type)) return false;
    if (!ReadValue(bytes, type, &body, &values->emplace_back())) return false;
  }
  return body == bytes.size();
}

/// A page of a B-tree.
struct PageFile::Node {
  std::string bytes;
  uint8_t kind = 0;
  std::vector<uint32_t> cells;     ///< offset of each cell
  std::vector<uint32_t> children;  ///< page numbers
  bool is_table() const { return kind == kTableInside || kind == kTableLeaf; }
  bool has_rows() const { return kind != kTableInside; }
};

absl::StatusOr<PageFile> PageFile::Open(const std::string& path) {
  PageFile pages;
  pages.file_ = open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (pages.file_ < 0) return absl::NotFoundError("cannot read " + path);
  std::string header(kHeader, '\0');
  struct stat size {};
  const bool whole = pread(pages.file_, header.data(), kHeader, 0) == static_cast<ssize_t>(kHeader);
  if (whole && header.starts_with("SQLite format 3")) {
    const uint32_t given = Big(header, 16, 2) == 1 ? 65536 : Big(header, 16, 2);
    if (std::has_single_bit(given) && given >= 512) pages.page_size_ = given;
  }
  if (fstat(pages.file_, &size) == 0) {
    pages.page_count_ = static_cast<uint32_t>((size.st_size + pages.page_size_ - 1) / pages.page_size_);
  }
  pages.ReadLog(path + "-wal");
  return pages;
}

PageFile::~PageFile() {
  if (file_ >= 0) close(file_);
  if (log_ >= 0) close(log_);
}

PageFile::PageFile(PageFile&& other) noexcept
    : file_(std::exchange(other.file_, -1)),
      log_(std::exchange(other.log_, -1)),
      page_size_(other.page_size_),
      page_count_(other.page_count_),
      in_log_(std::move(other.in_log_)),
      seen_(std::move(other.seen_)),
      bad_(std::move(other.bad_)),
      bad_rows_(other.bad_rows_) {}

/// Checksum of the write-ahead log, cumulative over its frames.
struct LogSum {
  bool big = false;
  uint32_t a = 0, b = 0;
  void Add(std::string_view bytes) {
    for (size_t at = 0; at + 8 <= bytes.size(); at += 8) {
      a += Word(bytes, at) + b;
      b += Word(bytes, at + 4) + a;
    }
  }
  uint32_t Word(std::string_view bytes, size_t at) const {
    const uint32_t word = Big(bytes, at, 4);
    return big ? word : __builtin_bswap32(word);
  }
};

void PageFile::ReadLog(const std::string& path) {
  constexpr size_t kLogHeader = 32, kFrameHeader = 24;
  log_ = open(path.c_str(), O_RDONLY | O_CLOEXEC);
  std::string header(kLogHeader, '\0');
  if (log_ < 0 || pread(log_, header.data(), kLogHeader, 0) != static_cast<ssize_t>(kLogHeader)) return;
  const uint32_t magic = Big(header, 0, 4), size = Big(header, 8, 4);
  if ((magic & ~1u) != 0x377F0682 || !std::has_single_bit(size) || size < 512 || size > 65536) return;
  LogSum sum{(magic & 1) != 0};
  sum.Add(std::string_view(header).substr(0, 24));
  if (sum.a != Big(header, 24, 4) || sum.b != Big(header, 28, 4)) return;
  page_size_ = size;
  std::map<uint32_t, int64_t> open_transaction;
  std::string frame(kFrameHeader + size, '\0');
  for (auto at = static_cast<int64_t>(kLogHeader);; at += static_cast<int64_t>(frame.size())) {
    if (pread(log_, frame.data(), frame.size(), at) != static_cast<ssize_t>(frame.size())) return;
    sum.Add(std::string_view(frame).substr(0, 8));
    sum.Add(std::string_view(frame).substr(kFrameHeader));
    const bool is_whole =
        frame.compare(8, 8, header, 16, 8) == 0 && sum.a == Big(frame, 16, 4) && sum.b == Big(frame, 20, 4);
    if (!is_whole) return;
    open_transaction[Big(frame, 0, 4)] = at + static_cast<int64_t>(kFrameHeader);
    if (const uint32_t pages = Big(frame, 4, 4); pages > 0) {
      page_count_ = pages;
      for (const auto& [page, offset] : open_transaction) in_log_[page] = offset;
      open_transaction.clear();
    }
  }
}

std::string PageFile::Read(uint32_t page) {
  std::string bytes(page_size_, '\0');
  if (page == 0 || page > page_count_) return "";
  const auto newer = in_log_.find(page);
  const int file = newer != in_log_.end() ? log_ : file_;
  const int64_t at = newer != in_log_.end() ? newer->second : int64_t{page_size_} * (page - 1);
  const ssize_t got = pread(file, bytes.data(), bytes.size(), at);
  return got == static_cast<ssize_t>(bytes.size()) ? bytes : "";
}

uint32_t PageFile::layout() {
  const std::string first = Read(1);
  return first.starts_with("SQLite format 3") ? Big(first, 60, 4) : 0;
}

std::optional<PageFile::Node> PageFile::ToNode(uint32_t page) {
  Node node;
  node.bytes = Read(page);
  if (node.bytes.empty()) return std::nullopt;
  const size_t at = page == 1 ? kHeader : 0;
  node.kind = static_cast<uint8_t>(node.bytes[at]);
  const bool inside = node.kind == kIndexInside || node.kind == kTableInside;
  if (!inside && node.kind != kIndexLeaf && node.kind != kTableLeaf) return std::nullopt;
  const size_t head = at + (inside ? 12 : 8);
  const size_t count = Big(node.bytes, at + 3, 2);
  if (head + 2 * count > node.bytes.size()) return std::nullopt;
  for (size_t i = 0; i < count; ++i) {
    const uint32_t cell = Big(node.bytes, head + 2 * i, 2);
    if (cell < head + 2 * count || cell + 4 > node.bytes.size()) return std::nullopt;
    node.cells.push_back(cell);
    if (inside) node.children.push_back(Big(node.bytes, cell, 4));
  }
  if (inside) node.children.push_back(Big(node.bytes, at + 8, 4));
  return node;
}

bool PageFile::ReadPayload(std::string_view local, uint64_t size, uint32_t overflow, std::string* payload) {
  payload->assign(local);
  for (std::set<uint32_t> chain; payload->size() < size;) {
    const std::string bytes = Read(overflow);
    if (bytes.empty() || !chain.insert(overflow).second) return false;
    // An all-zero page was erased: stored payloads are compressed and never look like that.
    if (bytes.find_first_not_of('\0') == std::string::npos) return false;
    const uint64_t part = std::min<uint64_t>(size - payload->size(), page_size_ - 4);
    payload->append(bytes, 4, part);
    overflow = Big(bytes, 0, 4);
  }
  return overflow == 0;
}

bool PageFile::ReadCell(const Node& node, size_t cell, RawRow* row) {
  const std::string_view bytes = node.bytes;
  size_t at = node.cells[cell] + (node.kind == kIndexInside ? 4 : 0);
  uint64_t size = 0, rowid = 0;
  if (!ReadVarint(bytes, &at, &size) || size > kLongestPayload) return false;
  if (node.is_table()) {
    if (!ReadVarint(bytes, &at, &rowid)) return false;
    row->rowid = static_cast<int64_t>(rowid);
  }
  const uint64_t most = node.is_table() ? page_size_ - 35 : (page_size_ - 12) * 64 / 255 - 23;
  const uint64_t least = (page_size_ - 12) * 32 / 255 - 23;
  uint64_t local = size;
  uint32_t overflow = 0;
  if (size > most) {
    local = least + (size - least) % (page_size_ - 4);
    if (local > most) local = least;
    if (at + local + 4 > bytes.size()) return false;
    overflow = Big(bytes, at + local, 4);
  }
  std::string payload;
  if (local > bytes.size() - at || !ReadPayload(bytes.substr(at, local), size, overflow, &payload)) return false;
  return ReadRecord(payload, &row->values);
}

void PageFile::Walk(uint32_t root, const Visit& visit) {
  for (std::vector<uint32_t> open = {root}; !open.empty();) {
    const uint32_t page = open.back();
    open.pop_back();
    if (seen_.contains(page)) continue;
    const auto node = ToNode(page);
    seen_.insert(page);
    if (!node) {
      bad_.insert(page);
      continue;
    }
    open.insert(open.end(), node->children.rbegin(), node->children.rend());
    for (size_t cell = 0; node->has_rows() && cell < node->cells.size(); ++cell) {
      RawRow row;
      if (ReadCell(*node, cell, &row)) {
        visit(row);
      } else {
        ++bad_rows_;
      }
    }
  }
}

void PageFile::WalkRest(const std::function<void(bool, const std::vector<RawRow>&)>& visit) {
  for (uint32_t page = 1; page <= page_count_; ++page) {
    if (seen_.contains(page)) continue;
    const auto node = ToNode(page);
    if (!node || !node->has_rows()) continue;
    std::vector<RawRow> rows;
    for (size_t cell = 0; cell < node->cells.size(); ++cell) {
      RawRow row;
      if (ReadCell(*node, cell, &row)) rows.push_back(std::move(row));
    }
    if (!rows.empty()) visit(node->is_table(), rows);
  }
}

}  // namespace gyrebox::store
