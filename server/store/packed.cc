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

// The single numbers: format and count of rows (8 bytes), width of a row and number of wide quantities (4 bytes each),
// place and width of each (4 bytes each), then each column that is of none of these. The wide part: the length of all
// its quantities, then these, in one zlib stream (RFC 1950) where that is shorter. A column or quantity is the length
// of what follows (4 bytes; 0 where no row holds it), a byte of flags, where kSparse is set a bit for each row that
// says whether it is held there, and the numbers of those rows: little-endian doubles, in a zlib stream where kDeflated
// is set. All integers are little-endian.
//
// Earlier versions packed the count of all numbers (8 bytes), and a zlib stream of whole rows. Their highest byte,
// where the format stands now, is 0.

/// No segment and no row is larger: what damaged bytes may ask for is bounded.
static constexpr uint64_t kMostNumbers = uint64_t{1} << 27;
static constexpr uint64_t kWidestRow = uint64_t{1} << 16;
/// Nothing that zlib packs becomes so many times longer again (zlib.net/zlib_tech.html: 1032).
static constexpr uint64_t kMostInflation = 1040;
static constexpr uint64_t kFormat = 2;
static constexpr int kFormatShift = 56;
static constexpr uint8_t kSparse = 1, kDeflated = 2;
/// Bytes. Shorter columns gain little and cost a stream each: 7 us, in segments of 44 rows half of all packing, for 7 %
/// less.
static constexpr size_t kFewestToDeflate = 512;

template <class Integer>
static void Put(std::string* bytes, Integer value) {
  bytes->append(reinterpret_cast<const char*>(&value), sizeof(value));
}

/// Takes an integer off the front.
template <class Integer>
static bool Take(std::string_view* bytes, Integer* value) {
  if (bytes->size() < sizeof(*value)) return false;
  std::memcpy(value, bytes->data(), sizeof(*value));
  bytes->remove_prefix(sizeof(*value));
  return true;
}

static Bytef* In(const void* bytes) { return const_cast<Bytef*>(static_cast<const Bytef*>(bytes)); }

/// One stream of zlib for all blocks of a segment: making a new one costs more than most blocks do.
class Deflater {
 public:
  Deflater() {
    if (deflateInit(&stream_, Z_BEST_SPEED) != Z_OK) throw std::bad_alloc();
  }
  ~Deflater() { deflateEnd(&stream_); }
  Deflater(const Deflater&) = delete;
  Deflater& operator=(const Deflater&) = delete;

  /// Appends bytes packed; false, and nothing is appended, where that would not be shorter.
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

/// One stream of zlib for all blocks that are read.
class Inflater {
 public:
  Inflater() {
    if (inflateInit(&stream_) != Z_OK) throw std::bad_alloc();
  }
  ~Inflater() { inflateEnd(&stream_); }
  Inflater(const Inflater&) = delete;
  Inflater& operator=(const Inflater&) = delete;

  /// False where the bytes are damaged or are those of more or fewer.
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

/// Whether a row holds a quantity.
static bool Holds(const double* numbers, size_t width) {
  return std::any_of(numbers, numbers + width, [](double number) { return !std::isnan(number); });
}

/// Rows of numbers.
template <class Number>
struct Rows {
  Number* numbers;
  size_t count, width;

  Number* At(size_t row, size_t place) const { return numbers + row * width + place; }
};

static std::string_view BytesOf(const std::vector<double>& numbers) {
  return {reinterpret_cast<const char*>(numbers.data()), numbers.size() * sizeof(double)};
}

/// Packs blocks one after another.
class Packer {
 public:
  explicit Packer(Rows<const double> rows) : rows_(rows) {}

  /// @param deflate whether the numbers are deflated where that pays.
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

  /// Appends bytes with their length before them.
  void Squeeze(const std::string& raw, std::string* bytes) {
    Put(bytes, static_cast<uint32_t>(raw.size()));
    if (!deflater_.Append(raw, bytes)) bytes->append(raw);
  }

 private:
  /// The numbers of the rows that hold the block, and a bit for each row.
  void Gather(Block block) {
    held_.clear();
    bits_.assign(BytesOfBits(rows_.count), '\0');
    for (size_t i = 0; i < rows_.count; ++i) {
      const double* numbers = rows_.At(i, block.place);
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

/// Calls with each column that is part of no wide quantity.
template <class Call>
static void ForSingles(size_t width, std::span<const Block> wide, const Call& call) {
  size_t place = 0;
  for (const Block& block : wide) {
    for (; place < block.place; ++place) call(Block{place});
    place = block.place + block.width;
  }
  for (; place < width; ++place) call(Block{place});
}

PackedSamples Pack(std::span<const double> numbers, size_t width, std::span<const Block> wide) {
  PackedSamples packed;
  const Rows<const double> rows{numbers.data(), numbers.size() / width, width};
  Put(&packed.singles, kFormat << kFormatShift | rows.count);
  Put(&packed.singles, static_cast<uint32_t>(width));
  Put(&packed.singles, static_cast<uint32_t>(wide.size()));
  for (const Block& block : wide) {
    Put(&packed.singles, static_cast<uint32_t>(block.place));
    Put(&packed.singles, static_cast<uint32_t>(block.width));
  }
  Packer packer(rows);
  ForSingles(width, wide, [&](Block single) { packer.Append(single, /*deflate=*/true, &packed.singles); });
  std::string quantities;  // deflated together: a stream for each of them takes half as long again
  for (const Block& block : wide) packer.Append(block, /*deflate=*/false, &quantities);
  if (!wide.empty()) packer.Squeeze(quantities, &packed.wide);
  return packed;
}

/// What stands before the blocks.
struct Head {
  uint64_t rows = 0;
  uint32_t width = 0;
  std::vector<Block> wide;
};

/// Takes the head off the front. False where it is damaged.
static bool TakeHead(std::string_view* bytes, Head* head) {
  uint32_t wide_count = 0;
  if (!Take(bytes, &head->rows) || !Take(bytes, &head->width) || !Take(bytes, &wide_count)) return false;
  if (head->rows >> kFormatShift != kFormat) return false;
  head->rows &= (uint64_t{1} << kFormatShift) - 1;
  uint64_t end = 0;
  for (; wide_count > 0; --wide_count) {
    uint32_t place = 0, width = 0;
    if (!Take(bytes, &place) || !Take(bytes, &width) || place < end || width == 0) return false;
    end = uint64_t{place} + width;
    head->wide.push_back({place, width});
  }
  return end <= head->width && head->width <= kWidestRow;
}

/// Reads packed blocks one after another into rows.
class Unpacker {
 public:
  Unpacker(std::string_view bytes, Rows<double> to) : bytes_(bytes), to_(to) {}

  /// Goes past a block. False where it is damaged.
  bool Skip() {
    uint32_t length = 0;
    if (!Take(&bytes_, &length) || length > bytes_.size()) return false;
    block_ = bytes_.substr(0, length);
    bytes_.remove_prefix(length);
    return true;
  }

  /// Reads a block to a place of the rows; those that do not hold it are left as they are.
  bool Next(size_t block_width, size_t place) {
    if (!Skip()) return false;
    return block_.empty() || ReadBlock(block_width, place);
  }

  bool at_end() const { return bytes_.empty(); }

 private:
  bool ReadBlock(size_t block_width, size_t place) {
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
      if (holds(i)) std::copy_n(std::exchange(from, from + block_width), block_width, to_.At(i, place));
    }
    return true;
  }

  /// The rest of the block as numbers.
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

/// Whole rows as earlier versions packed them.
static std::vector<double> UnpackWholeRows(std::string_view bytes) {
  uint64_t count = 0;
  if (!Take(&bytes, &count) || count > kMostNumbers || count * sizeof(double) > bytes.size() * kMostInflation)
    return {};
  std::vector<double> numbers(count);
  return Inflater().Read(bytes, numbers.data(), count * sizeof(double)) ? numbers : std::vector<double>();
}

static bool IsOfWholeRows(const std::string& bytes) {
  return bytes.size() >= sizeof(uint64_t) && bytes[sizeof(uint64_t) - 1] == 0;
}

static std::vector<double> NoNumbers(size_t rows, size_t width) {
  return std::vector<double>(rows * width, std::numeric_limits<double>::quiet_NaN());
}

/// The quantities of the wide part. False where it is damaged.
static bool Unsqueeze(std::string_view bytes, std::string* raw) {
  uint32_t size = 0;
  if (bytes.empty()) return true;
  if (!Take(&bytes, &size) || size > bytes.size() * kMostInflation) return false;
  raw->assign(bytes);
  if (bytes.size() == size) return true;
  raw->resize(size);
  return Inflater().Read(bytes, raw->data(), size);
}

std::vector<double> Unpack(const PackedSamples& packed, size_t rows) {
  if (IsOfWholeRows(packed.singles)) return UnpackWholeRows(packed.singles);
  std::string_view bytes = packed.singles;
  Head head;
  if (!TakeHead(&bytes, &head) || head.rows != rows || rows * head.width > kMostNumbers) return {};
  std::string quantities;
  if (!Unsqueeze(packed.wide, &quantities)) return {};
  std::vector<double> numbers = NoNumbers(rows, head.width);
  const Rows<double> to{numbers.data(), rows, head.width};
  Unpacker singles(bytes, to), wide(quantities, to);
  bool sound = true;
  ForSingles(head.width, head.wide, [&](Block single) { sound = sound && singles.Next(1, single.place); });
  for (const Block& block : head.wide) sound = sound && wide.Next(block.width, block.place);
  return sound && singles.at_end() && wide.at_end() ? numbers : std::vector<double>();
}

/// Some columns of whole rows.
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
  if (!TakeHead(&bytes, &head) || head.rows != rows || rows * columns.size() > kMostNumbers) return {};
  std::vector<double> numbers = NoNumbers(rows, columns.size());
  Unpacker unpacker(bytes, {numbers.data(), rows, columns.size()});
  bool sound = true;
  ForSingles(head.width, head.wide, [&](Block single) {
    const auto wanted = std::find(columns.begin(), columns.end(), single.place);
    const auto place = static_cast<size_t>(wanted - columns.begin());
    sound = sound && (wanted == columns.end() ? unpacker.Skip() : unpacker.Next(1, place));
  });
  return sound && unpacker.at_end() ? numbers : std::vector<double>();
}

}  // namespace gyrebox::store
