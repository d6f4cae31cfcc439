// Any bytes, read as the state of a bed: refused by an exception, or read so that writing it gives the same bytes.
#include <algorithm>
#include <cstdint>
#include <span>
#include <stdexcept>

#include "check.h"
#include "gyrebox/bed_state.h"

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  using namespace gyrebox;
  const std::span<const std::byte> bytes(reinterpret_cast<const std::byte*>(data), size);
  try {
    const auto again = kernels::ToBytes(kernels::FromBytes(bytes));
    test::Check(std::equal(again.begin(), again.end(), bytes.begin(), bytes.end()), "read as something else");
  } catch (const std::runtime_error&) {
  }
  return 0;
}
