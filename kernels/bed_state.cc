#include "gyrebox/bed_state.h"

#include <cstring>
#include <stdexcept>

#include "model/fixed_point.h"
#include "model/noise.h"

namespace gyrebox::kernels {
namespace {

constexpr std::uint64_t kMagic = 0x3144454258525947;  // "GYRXBED1"
// Version 1 had no kHasPast.
constexpr std::uint32_t kVersion = 2, kOldestVersion = 1;
constexpr std::int32_t kListsValid = 1, kHasPast = 2;

// Calls visit(field) for every array of a state, in the order in which they are stored.
template <class State, class Visit>
void ForArrays(State& s, Visit visit) {
  visit(s.x), visit(s.y), visit(s.built_x), visit(s.built_y), visit(s.path_x), visit(s.path_y);
  visit(s.remainder_x), visit(s.remainder_y), visit(s.vx), visit(s.vy), visit(s.spin), visit(s.angle), visit(s.kind);
  visit(s.phases), visit(s.turns);
}
// The same for the arrays that version 2 added.
template <class State, class Visit>
void ForNewArrays(State& s, Visit visit) {
  visit(s.expected_vx), visit(s.expected_vy), visit(s.expected_spin);
  visit(s.thermal_vx), visit(s.thermal_vy), visit(s.thermal_spin);
}

struct Header {
  std::uint64_t magic;
  std::uint32_t version, noise_layout;
  std::int64_t step;
  std::int32_t halvings, flags;
};

class Reader {
 public:
  explicit Reader(std::span<const std::byte> bytes) : bytes_(bytes) {}
  void Take(void* to, std::size_t n) {
    if (n > bytes_.size()) throw std::runtime_error("the saved state is cut off");
    if (n > 0) std::memcpy(to, bytes_.data(), n);
    bytes_ = bytes_.subspan(n);
  }
  std::size_t left() const { return bytes_.size(); }

 private:
  std::span<const std::byte> bytes_;
};

}  // namespace

SavedBed BeadsOf(const BedState& state, double side_x, double side_y) {
  return {side_x, side_y, state.x, state.y, state.angle, state.kind};
}

double PositionOf(std::uint32_t fixed, double side) { return FromFixed(fixed, side); }
double AngleOf(std::uint32_t fraction) { return AngleValue(fraction); }

std::vector<std::byte> ToBytes(const BedState& state) {
  std::vector<std::byte> bytes;
  const auto put = [&](const void* from, std::size_t n) {
    bytes.resize(bytes.size() + n);
    if (n > 0) std::memcpy(bytes.data() + bytes.size() - n, from, n);
  };
  const Header header{kMagic,         kVersion,
                      kNoiseLayout,   state.step,
                      state.halvings, (state.lists_valid ? kListsValid : 0) | (state.has_past ? kHasPast : 0)};
  put(&header, sizeof(header));
  const auto put_array = [&](const auto& array) {
    const std::uint64_t count = array.size();
    put(&count, sizeof(count));
    put(array.data(), count * sizeof(array[0]));
  };
  ForArrays(state, put_array);
  ForNewArrays(state, put_array);
  return bytes;
}

BedState FromBytes(std::span<const std::byte> bytes) {
  Reader reader(bytes);
  Header header;
  reader.Take(&header, sizeof(header));
  if (header.magic != kMagic) throw std::runtime_error("this is no saved state of a bed");
  if (header.version < kOldestVersion || header.version > kVersion || header.noise_layout != kNoiseLayout) {
    throw std::runtime_error("the saved state is of version " + std::to_string(header.version) + ", not " +
                             std::to_string(kOldestVersion) + " to " + std::to_string(kVersion));
  }
  const std::int32_t known = header.version == 1 ? kListsValid : kListsValid | kHasPast;
  if ((header.flags & ~known) != 0 || header.step < 0 || header.halvings < 0)
    throw std::runtime_error("the saved state is damaged");
  BedState state;
  state.step = header.step;
  state.halvings = header.halvings;
  state.lists_valid = (header.flags & kListsValid) != 0;
  state.has_past = (header.flags & kHasPast) != 0;
  const auto take_array = [&](auto& array) {
    std::uint64_t count = 0;
    reader.Take(&count, sizeof(count));
    if (count > reader.left() / sizeof(array[0])) throw std::runtime_error("the saved state is cut off");
    array.resize(count);
    reader.Take(array.data(), count * sizeof(array[0]));
  };
  ForArrays(state, take_array);
  if (header.version > 1) ForNewArrays(state, take_array);
  if (reader.left() != 0) throw std::runtime_error("the saved state has bytes too many");
  return state;
}

}  // namespace gyrebox::kernels
