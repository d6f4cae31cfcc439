#include "store/packed.h"

#include <zlib.h>

#include <cstdint>
#include <cstring>

namespace gyrebox::store {

/// No segment is larger: what damaged bytes may ask for is bounded.
static constexpr uint64_t kMostNumbers = uint64_t{1} << 27;

std::string Pack(std::span<const double> numbers) {
  const uint64_t count = numbers.size();
  uLongf packed_bytes = compressBound(numbers.size_bytes());
  std::string bytes(sizeof(count) + packed_bytes, '\0');
  std::memcpy(bytes.data(), &count, sizeof(count));
  compress2(reinterpret_cast<Bytef*>(bytes.data() + sizeof(count)), &packed_bytes,
            reinterpret_cast<const Bytef*>(numbers.data()), numbers.size_bytes(), Z_BEST_SPEED);
  bytes.resize(sizeof(count) + packed_bytes);
  return bytes;
}

std::vector<double> Unpack(const std::string& bytes) {
  uint64_t count = 0;
  if (bytes.size() < sizeof(count)) return {};
  std::memcpy(&count, bytes.data(), sizeof(count));
  if (count > kMostNumbers) return {};
  std::vector<double> numbers(count);
  uLongf size = count * sizeof(double);
  const int result =
      uncompress(reinterpret_cast<Bytef*>(numbers.data()), &size,
                 reinterpret_cast<const Bytef*>(bytes.data() + sizeof(count)), bytes.size() - sizeof(count));
  return result == Z_OK && size == count * sizeof(double) ? numbers : std::vector<double>();
}

}  // namespace gyrebox::store
