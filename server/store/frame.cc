#include "store/frame.h"

#include <cstring>

namespace gyrebox::store {

template <class Beads, class Visit>
static void ForArrays(Beads& beads, Visit visit) {
  visit(beads.x), visit(beads.y), visit(beads.angle);
}

std::string ToFrameBytes(const kernels::SavedBed& beads) {
  std::string bytes;
  bytes.reserve(3 * sizeof(uint32_t) * beads.x.size());
  ForArrays(beads, [&](const std::vector<uint32_t>& array) {
    bytes.append(reinterpret_cast<const char*>(array.data()), array.size() * sizeof(uint32_t));
  });
  return bytes;
}

absl::Status FromFrameBytes(const std::string& bytes, size_t bead_count, kernels::SavedBed* beads) {
  const size_t part = bead_count * sizeof(uint32_t);
  if (bytes.size() != 3 * part) return absl::DataLossError("a kept frame is of another bed");
  const char* from = bytes.data();
  ForArrays(*beads, [&](std::vector<uint32_t>& array) {
    array.resize(bead_count);
    if (part > 0) std::memcpy(array.data(), from, part);
    from += part;
  });
  return absl::OkStatus();
}

}  // namespace gyrebox::store
