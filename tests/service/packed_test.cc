// Packed samples unpack unchanged, and damaged bytes yield nothing.
#include "store/packed.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstring>
#include <limits>
#include <random>

namespace gyrebox::store {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::IsNan;
using testing::SizeIs;

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
constexpr size_t kWidth = 24;
/// Columns 4 to 10 and 11 to 21.
const std::vector<Block> kWide = {{4, 7}, {11, 11}};

bool AreSame(const std::vector<double>& a, const std::vector<double>& b) {
  const auto same = [](double x, double y) {
    return std::isnan(x) ? std::isnan(y) : std::memcmp(&x, &y, sizeof(x)) == 0;
  };
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), same);
}

/// Rows of which every ninth holds the last quantities; some values are hard to pack.
std::vector<double> Rows(size_t count) {
  std::mt19937_64 random(count);
  std::normal_distribution<double> normal;
  std::vector<double> numbers;
  for (size_t i = 0; i < count; ++i) {
    for (size_t k = 0; k < kWidth; ++k) numbers.push_back(k < 11 || i % 9 == 0 ? normal(random) : kNone);
    double* row = numbers.data() + i * kWidth;
    row[0] = static_cast<double>(i);
    row[2] = 0;
    row[3] = kNone;
    if (i % 2 == 0) row[5] = kNone;  // a partially present quantity
    if (i % 3 == 0) row[6] = -std::numeric_limits<double>::infinity(), row[7] = -0.0, row[8] = 5e-324;
  }
  return numbers;
}

TEST(PackedTest, RowsUnpackUnchanged) {
  for (const size_t count : {1, 2, 7, 8, 9, 65, 1000}) {
    const auto numbers = Rows(count);
    EXPECT_TRUE(AreSame(Unpack(Pack(numbers, kWidth, kWide), count), numbers)) << count;
    EXPECT_TRUE(AreSame(Unpack(Pack(numbers, kWidth, {}), count), numbers)) << count << " without wide ones";
  }
}

TEST(PackedTest, ColumnsAreReadWithoutTheOthers) {
  const auto numbers = Rows(100);
  PackedSamples packed = Pack(numbers, kWidth, kWide);
  packed.wide.clear();
  const std::vector<size_t> columns = {23, 1, 3, 5};
  const auto read = UnpackColumns(packed, 100, columns);
  ASSERT_THAT(read, SizeIs(400));
  for (size_t i = 0; i < 100; ++i) {
    const std::vector<double> row(read.begin() + 4 * i, read.begin() + 4 * i + 4);
    EXPECT_TRUE(AreSame(row, {numbers[i * kWidth + 23], numbers[i * kWidth + 1], kNone, kNone})) << i;
  }
}

TEST(PackedTest, AbsentValuesTakeNoSpace) {
  constexpr size_t kRows = 1000;
  const PackedSamples packed = Pack(std::vector<double>(kRows * kWidth, kNone), kWidth, kWide);
  EXPECT_LT(packed.singles.size() + packed.wide.size(), kWidth * 8);
}

TEST(PackedTest, RowsOfEarlierVersionsAreRead) {
  // Two rows of three numbers, 0 0.5 7 and 250 NaN 8, packed in Python: struct.pack("<Q", 6) + zlib.compress(...).
  constexpr char kBytes[] =
      "\x06\x00\x00\x00\x00\x00\x00\x00\x78\x9c\x63\x60\x40\x06\x0f\xec\x21\xb4\x8c\x03\x98\x72\xc8\x87"
      "\xd0\x0c\x3f\xea\x21\xb4\x82\x03\x00\x4e\x9c\x04\x42";
  const PackedSamples packed{std::string(kBytes, sizeof(kBytes) - 1), ""};
  EXPECT_THAT(Unpack(packed, 2), ElementsAre(0, 0.5, 7, 250, IsNan(), 8));
  EXPECT_THAT(UnpackColumns(packed, 2, std::vector<size_t>{2, 0}), ElementsAre(7, 0, 8, 250));
}

TEST(PackedTest, DamagedBytesGiveNothingOrTheSameCount) {
  const auto numbers = Rows(70);
  const PackedSamples sound = Pack(numbers, kWidth, kWide);
  std::mt19937_64 random(1);
  int refused = 0;
  for (int i = 0; i < 1000; ++i) {
    PackedSamples packed = sound;
    std::string& part = i % 2 == 0 ? packed.singles : packed.wide;
    if (i % 3 == 0) {
      part.resize(random() % part.size());
    } else {
      part[random() % part.size()] ^= static_cast<char>(1 + random() % 255);
    }
    const auto read = Unpack(packed, 70);
    refused += read.empty();
    EXPECT_TRUE(read.empty() || read.size() % 70 == 0);
    const auto columns = UnpackColumns(packed, 70, std::vector<size_t>{0, 23});
    EXPECT_TRUE(columns.empty() || columns.size() == 140);
  }
  EXPECT_GT(refused, 330);  // every truncated input
}

TEST(PackedTest, AnotherCountOfRowsIsRefused) {
  const auto numbers = Rows(9);
  EXPECT_THAT(Unpack(Pack(numbers, kWidth, kWide), 10), IsEmpty());
}

}  // namespace
}  // namespace gyrebox::store
