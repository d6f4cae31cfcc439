#include "store/packed.h"

#include <zlib.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>
#include <new>
#include <string_view>
#include <utility>

namespace gyrebox::store {

// Single part: format and number of rows (8 bytes), width of a row and number of wide quantities (4 bytes each), index
// and width of each wide quantity (4 bytes each), then a block for each remaining column. Wide part: length of all its
// blocks (4 bytes), then a block for each wide quantity, all in one zlib stream (RFC 1950) if that is shorter. A block
// is the length of the rest (4 bytes; 0 if no row holds the quantity), a byte of flags, a bitmap of the rows that hold
// the quantity if kSparse is set, and the numbers of those rows: little-endian doubles, in a zlib stream if kDeflated
// is set. All integers are little-endian.
//
// Earlier versions packed the count of all numbers (8 bytes) and a zlib stream of whole rows. The highest byte of that
// count, where the format is now, is 0.

/// Upper bounds for a segment and a row. They limit the memory that damaged bytes can request.
static constexpr uint64_t kMaxNumbers = uint64_t{1} << 27;
static constexpr uint64_t kWidestRow = uint64_t{1} << 16;
/// Upper bound of the expansion by zlib (zlib.net/zlib_tech.html: 1032).
static constexpr uint64_t kMaxInflation = 1040;
static constexpr uint64_t kFormat = 2;
static constexpr int kFormatShift = 56;
static constexpr uint8_t kSparse = 1, kDeflated = 2;
/// Bytes. Deflating shorter columns saves little and costs a stream each: 7 us, half of the packing time for segments
/// of 44 rows, to save 7 %.
static constexpr size_t kFewestToDeflate = 512;

template <class Integer>
static void Put(std::string* bytes, Integer value) {
  bytes->append(reinterpret_cast<const char*>(&value), sizeof(value));
}

/// Removes an integer from the front.
template <class Integer>
static bool Take(std::string_view* bytes, Integer* value) {
  if (bytes->size() < sizeof(*value)) return false;
  std::memcpy(value, bytes->data(), sizeof(*value));
  bytes->remove_prefix(sizeof(*value));
  return true;
}

static Bytef* In(const void* bytes) { return const_cast<Bytef*>(static_cast<const Bytef*>(bytes)); }

/// One zlib stream, reused for all blocks of a segment, since creating one costs more than packing most blocks.
class Deflater {
 public:
  Deflater() {
    if (deflateInit(&stream_, Z_BEST_SPEED) != Z_OK) throw std::bad_alloc();
  }
  ~Deflater() { deflateEnd(&stream_); }
  Deflater(const Deflater&) = delete;
  Deflater& operator=(const Deflater&) = delete;

  /// Appends compressed bytes. If they would not be shorter, appends nothing and returns false.
  bool Append(std::string_view raw, std::string* bytes) {
    const size_t before = bytes->size();
    bytes->resize(before + raw.size());
    deflateReset(&stream_);
    stream_.next_in = In(raw.data());
    stream_.avail_in = static_cast<uInt>(raw.size());
    stream_.next_out = In(bytes->data() + before);
    stream_.avail_out = static_cast<uInt>(raw.size());
    const bool shorter = deflate(&stream_, Z_FINISH) == Z_STREAM_END;
    bytes->resize(shorter ? bytes->size() - stream_.avail_out : before);
    return shorter;
  }

 private:
  z_stream stream_{};
};

/// One zlib stream, reused for all blocks that are read.
class Inflater {
 public:
  Inflater() {
    if (inflateInit(&stream_) != Z_OK) throw std::bad_alloc();
  }
  ~Inflater() { inflateEnd(&stream_); }
  Inflater(const Inflater&) = delete;
  Inflater& operator=(const Inflater&) = delete;

  /// Inflates to exactly `size` bytes. False if the bytes are damaged or of another size.
  bool Read(std::string_view bytes, void* raw, size_t size) {
    inflateReset(&stream_);
    stream_.next_in = In(bytes.data());
    stream_.avail_in = static_cast<uInt>(bytes.size());
    stream_.next_out = In(raw);
    stream_.avail_out = static_cast<uInt>(size);
    return inflate(&stream_, Z_FINISH) == Z_STREAM_END && stream_.avail_out == 0;
  }

 private:
  z_stream stream_{};
};

static size_t BytesOfBits(size_t count) { return (count + 7) / 8; }

/// Whether a row holds a quantity, i.e. not all of its numbers are NaN.
static bool Holds(const double* numbers, size_t width) {
  return std::any_of(numbers, numbers + width, [](double number) { return !std::isnan(number); });
}

/// Rows of numbers.
template <class Number>
struct Rows {
  Number* numbers;
  size_t count, width;

  Number* At(size_t row, size_t index) const { return numbers + row * width + index; }
};

static std::string_view BytesOf(const std::vector<double>& numbers) {
  return {reinterpret_cast<const char*>(numbers.data()), numbers.size() * sizeof(double)};
}

/// Packs blocks one after another.
class Packer {
 public:
  explicit Packer(Rows<const double> rows) : rows_(rows) {}

  /// Appends one block. @param deflate whether to deflate the numbers if that makes them shorter.
  void Append(Block block, bool deflate, std::string* bytes) {
    Gather(block);
    const size_t before = bytes->size();
    Put(bytes, uint32_t{0});
    if (held_.empty()) return;
    const size_t begin = bytes->size();
    uint8_t flags = held_.size() < rows_.count * block.width ? kSparse : 0;
    Put(bytes, flags);
    if (flags & kSparse) bytes->append(bits_);
    const std::string_view raw = BytesOf(held_);
    if (deflate && raw.size() >= kFewestToDeflate && deflater_.Append(raw, bytes)) {
      flags |= kDeflated;
    } else {
      bytes->append(raw);
    }
    (*bytes)[begin] = static_cast<char>(flags);
    const auto length = static_cast<uint32_t>(bytes->size() - begin);
    std::memcpy(bytes->data() + before, &length, sizeof(length));
  }

  /// Appends the length of the bytes and the bytes, deflated if that is shorter.
  void Squeeze(const std::string& raw, std::string* bytes) {
    Put(bytes, static_cast<uint32_t>(raw.size()));
    if (!deflater_.Append(raw, bytes)) bytes->append(raw);
  }

 private:
  /// Collects the numbers of the rows that hold the block, and the bitmap of these rows.
  void Gather(Block block) {
    held_.clear();
    bits_.assign(BytesOfBits(rows_.count), '\0');
    for (size_t i = 0; i < rows_.count; ++i) {
      const double* numbers = rows_.At(i, block.index);
      if (!Holds(numbers, block.width)) continue;
      bits_[i / 8] = static_cast<char>(bits_[i / 8] | 1 << i % 8);
      held_.insert(held_.end(), numbers, numbers + block.width);
    }
  }

  const Rows<const double> rows_;
  Deflater deflater_;
  std::vector<double> held_;
  std::string bits_;
};

/// Calls `call` with each column that is not part of a wide quantity.
template <class Call>
static void ForSingles(size_t width, std::span<const Block> wide, const Call& call) {
  size_t index = 0;
  for (const Block& block : wide) {
    for (; index < block.index; ++index) call(Block{index});
    index = block.index + block.width;
  }
  for (; index < width; ++index) call(Block{index});
}

PackedSamples Pack(std::span<const double> numbers, size_t width, std::span<const Block> wide) {
  PackedSamples packed;
  const Rows<const double> rows{numbers.data(), numbers.size() / width, width};
  Put(&packed.singles, kFormat << kFormatShift | rows.count);
  Put(&packed.singles, static_cast<uint32_t>(width));
  Put(&packed.singles, static_cast<uint32_t>(wide.size()));
  for (const Block& block : wide) {
    Put(&packed.singles, static_cast<uint32_t>(block.index));
    Put(&packed.singles, static_cast<uint32_t>(block.width));
  }
  Packer packer(rows);
  ForSingles(width, wide, [&](Block single) { packer.Append(single, /*deflate=*/true, &packed.singles); });
  std::string quantities;  // deflated together: separate streams take 1.5 times as long
  for (const Block& block : wide) packer.Append(block, /*deflate=*/false, &quantities);
  if (!wide.empty()) packer.Squeeze(quantities, &packed.wide);
  return packed;
}

/// Header of the single part.
struct Head {
  uint64_t rows = 0;
  uint32_t width = 0;
  std::vector<Block> wide;
};

/// Removes the header from the front. False if it is damaged.
static bool TakeHead(std::string_view* bytes, Head* head) {
  uint32_t wide_count = 0;
  if (!Take(bytes, &head->rows) || !Take(bytes, &head->width) || !Take(bytes, &wide_count)) return false;
  if (head->rows >> kFormatShift != kFormat) return false;
  head->rows &= (uint64_t{1} << kFormatShift) - 1;
  uint64_t end = 0;
  for (; wide_count > 0; --wide_count) {
    uint32_t index = 0, width = 0;
    if (!Take(bytes, &index) || !Take(bytes, &width) || index < end || width == 0) return false;
    end = uint64_t{index} + width;
    head->wide.push_back({index, width});
  }
  return end <= head->width && head->width <= kWidestRow;
}

/// Reads packed blocks one after another into rows.
class Unpacker {
 public:
  Unpacker(std::string_view bytes, Rows<double> to) : bytes_(bytes), to_(to) {}

  /// Skips a block. False if it is damaged.
  bool Skip() {
    uint32_t length = 0;
    if (!Take(&bytes_, &length) || length > bytes_.size()) return false;
    block_ = bytes_.substr(0, length);
    bytes_.remove_prefix(length);
    return true;
  }

  /// Reads a block into the columns from `index` on. Rows that do not hold it are unchanged. False if it is damaged.
  bool Next(size_t block_width, size_t index) {
    if (!Skip()) return false;
    return block_.empty() || ReadBlock(block_width, index);
  }

  bool at_end() const { return bytes_.empty(); }

 private:
  bool ReadBlock(size_t block_width, size_t index) {
    uint8_t flags = 0;
    Take(&block_, &flags);
    const bool sparse = (flags & kSparse) != 0;
    const std::string_view bits = block_.substr(0, sparse ? BytesOfBits(to_.count) : 0);
    if (sparse && bits.size() < BytesOfBits(to_.count)) return false;
    block_.remove_prefix(bits.size());
    const auto holds = [&](size_t i) { return !sparse || (bits[i / 8] >> i % 8 & 1) != 0; };
    size_t count = 0;
    for (size_t i = 0; i < to_.count; ++i) count += holds(i) ? 1 : 0;
    held_.resize(count * block_width);
    if (!ReadNumbers((flags & kDeflated) != 0)) return false;
    const double* from = held_.data();
    for (size_t i = 0; i < to_.count; ++i) {
      if (holds(i)) std::copy_n(std::exchange(from, from + block_width), block_width, to_.At(i, index));
    }
    return true;
  }

  /// Reads the rest of the block as numbers. False if it is damaged.
  bool ReadNumbers(bool deflated) {
    if (deflated) return inflater_.Read(block_, held_.data(), held_.size() * sizeof(double));
    if (block_.size() != held_.size() * sizeof(double)) return false;
    if (!held_.empty()) std::memcpy(held_.data(), block_.data(), block_.size());
    return true;
  }

  std::string_view bytes_, block_;
  const Rows<double> to_;
  Inflater inflater_;
  std::vector<double> held_;
};

/// Unpacks whole rows as packed by earlier versions. Empty if damaged.
static std::vector<double> UnpackWholeRows(std::string_view bytes) {
  uint64_t count = 0;
  if (!Take(&bytes, &count) || count > kMaxNumbers || count * sizeof(double) > bytes.size() * kMaxInflation) return {};
  std::vector<double> numbers(count);
  return Inflater().Read(bytes, numbers.data(), count * sizeof(double)) ? numbers : std::vector<double>();
}

static bool IsOfWholeRows(const std::string& bytes) {
  return bytes.size() >= sizeof(uint64_t) && bytes[sizeof(uint64_t) - 1] == 0;
}

static std::vector<double> NoNumbers(size_t rows, size_t width) {
  return std::vector<double>(rows * width, std::numeric_limits<double>::quiet_NaN());
}

/// Inflates the wide part. False if it is damaged.
static bool Unsqueeze(std::string_view bytes, std::string* raw) {
  uint32_t size = 0;
  if (bytes.empty()) return true;
  if (!Take(&bytes, &size) || size > bytes.size() * kMaxInflation) return false;
  raw->assign(bytes);
  if (bytes.size() == size) return true;
  raw->resize(size);
  return Inflater().Read(bytes, raw->data(), size);
}

std::vector<double> Unpack(const PackedSamples& packed, size_t rows) {
  if (IsOfWholeRows(packed.singles)) return UnpackWholeRows(packed.singles);
  std::string_view bytes = packed.singles;
  Head head;
  if (!TakeHead(&bytes, &head) || head.rows != rows || rows * head.width > kMaxNumbers) return {};
  std::string quantities;
  if (!Unsqueeze(packed.wide, &quantities)) return {};
  std::vector<double> numbers = NoNumbers(rows, head.width);
  const Rows<double> to{numbers.data(), rows, head.width};
  Unpacker singles(bytes, to), wide(quantities, to);
  bool sound = true;
  ForSingles(head.width, head.wide, [&](Block single) { sound = sound && singles.Next(1, single.index); });
  for (const Block& block : head.wide) sound = sound && wide.Next(block.width, block.index);
  return sound && singles.at_end() && wide.at_end() ? numbers : std::vector<double>();
}

/// Selects columns of whole rows. Empty if a column is out of range.
static std::vector<double> PickColumns(const std::vector<double>& numbers, size_t rows,
                                       std::span<const size_t> columns) {
  std::vector<double> picked;
  const size_t width = numbers.size() / rows;
  for (size_t i = 0; i < rows; ++i) {
    for (const size_t column : columns) {
      if (column >= width) return {};
      picked.push_back(numbers[i * width + column]);
    }
  }
  return picked;
}

std::vector<double> UnpackColumns(const PackedSamples& packed, size_t rows, std::span<const size_t> columns) {
  if (IsOfWholeRows(packed.singles)) return PickColumns(UnpackWholeRows(packed.singles), rows, columns);
  std::string_view bytes = packed.singles;
  Head head;
  if (!TakeHead(&bytes, &head) || head.rows != rows || rows * columns.size() > kMaxNumbers) return {};
  std::vector<double> numbers = NoNumbers(rows, columns.size());
  Unpacker unpacker(bytes, {numbers.data(), rows, columns.size()});
  bool sound = true;
  ForSingles(head.width, head.wide, [&](Block single) {
    const auto wanted = std::find(columns.begin(), columns.end(), single.index);
    const auto index = static_cast<size_t>(wanted - columns.begin());
    sound = sound && (wanted == columns.end() ? unpacker.Skip() : unpacker.Next(1, index));
  });
  return sound && unpacker.at_end() ? numbers : std::vector<double>();
}

}  // namespace gyrebox::store
