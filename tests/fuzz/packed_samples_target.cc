// Interprets any bytes as packed samples: they are refused, or packing and unpacking them again gives the same numbers.
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstring>

#include "check.h"
#include "store/packed.h"

/// Input bytes that give the number of rows and the length of the first part.
constexpr size_t kHead = 3;

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  using namespace gyrebox;
  if (size < kHead) return 0;
  const size_t rows = size_t{data[0]} + 1;
  const std::string bytes(reinterpret_cast<const char*>(data) + kHead, size - kHead);
  const size_t split = std::min<size_t>(bytes.size(), data[1] + 256 * size_t{data[2]});
  const store::PackedSamples packed{bytes.substr(0, split), bytes.substr(split)};
  const std::vector<size_t> columns = {0, 1};
  const auto picked = store::UnpackColumns(packed, rows, columns);
  test::Check(picked.empty() || picked.size() == rows * columns.size(), "another count of columns");
  const auto numbers = store::Unpack(packed, rows);
  if (numbers.empty() || numbers.size() % rows != 0) return 0;
  const auto again = store::Unpack(store::Pack(numbers, numbers.size() / rows, {}), rows);
  test::Check(again.size() == numbers.size(), "read as something else");
  for (size_t i = 0; i < numbers.size(); ++i) {
    const bool same = std::isnan(numbers[i]) ? std::isnan(again[i]) : numbers[i] == again[i];
    test::Check(same, "another number");
  }
  return 0;
}
