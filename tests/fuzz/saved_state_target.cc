// Reads any bytes as the state of a bed: they are refused by an exception, or writing the state gives the same bytes.
#include <algorithm>
#include <cstdint>
#include <span>
#include <stdexcept>

#include "check.h"
#include "gyrebox/bed_state.h"

/// End of magic and version: a state of an older version is written as the current one.
constexpr std::size_t kVersionEnd = 12;

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  using namespace gyrebox;
  const std::span<const std::byte> bytes(reinterpret_cast<const std::byte*>(data), size);
  try {
    const auto again = kernels::ToBytes(kernels::FromBytes(bytes));
    const bool older =
        bytes.size() < kVersionEnd || !std::equal(bytes.begin(), bytes.begin() + kVersionEnd, again.begin());
    const auto once_more = kernels::ToBytes(kernels::FromBytes(again));
    test::Check(again == once_more, "read as something else");
    test::Check(older || std::equal(again.begin(), again.end(), bytes.begin(), bytes.end()), "read as something else");
  } catch (const std::runtime_error&) {
  }
  return 0;
}
