#include "cuda/bed_slots.h"

#include "cuda/bed_view.h"
#include "cuda/device_memory.h"

namespace gyrebox::kernels::cuda {
namespace {

// Calls visit(array, its address in device memory) for every array.
template <class Slots, class Visit>
void ForArrays(Slots& slots, const BedPlan& plan, std::uint32_t half, const Visit& visit) {
  const BedMemory& memory = plan.memory;
  const std::size_t stride = plan.stride, at = half * stride;
  visit(slots.beads, memory.beads + at);
  visit(slots.spin, memory.spin + at);
  visit(slots.angle, memory.angle + at);
  visit(slots.remainder, memory.remainder + at);
  visit(slots.tag, memory.tag);
  visit(slots.built, memory.built);
  visit(slots.start, memory.start);
  visit(slots.turns, memory.turns);
  if (memory.motion == nullptr) return;
  visit(slots.motion_x, memory.motion);
  visit(slots.motion_y, memory.motion + stride);
  visit(slots.motion_spin, memory.motion + 2 * stride);
  visit(slots.thermal, memory.thermal + at);
}

std::uint32_t TagOf(std::size_t id, bool spinner) {
  return static_cast<std::uint32_t>(id) | (spinner ? kSpinnerBit : 0);
}

// Fills an array of a state from the slots of its beads.
template <class T, class ValueOf>
void PutById(const BedSlots& slots, std::vector<T>& array, const ValueOf& value_of) {
  array.resize(slots.tag.size());
  for (std::size_t slot = 0; slot < slots.tag.size(); ++slot) array[IdOf(slots.tag[slot])] = value_of(slot);
}

void PutMotions(const BedSlots& slots, BedState& state) {
  const bool apart = !slots.motion_x.empty();
  const auto put = [&](auto& array, const auto& value_of) { PutById(slots, array, value_of); };
  put(state.vx, [&](std::size_t s) { return apart ? slots.motion_x[s] : slots.beads[s].vx; });
  put(state.vy, [&](std::size_t s) { return apart ? slots.motion_y[s] : slots.beads[s].vy; });
  put(state.spin, [&](std::size_t s) { return apart ? slots.motion_spin[s] : slots.spin[s]; });
  if (!apart) return;
  put(state.expected_vx, [&](std::size_t s) { return slots.beads[s].vx; });
  put(state.expected_vy, [&](std::size_t s) { return slots.beads[s].vy; });
  put(state.expected_spin, [&](std::size_t s) { return slots.spin[s]; });
  put(state.thermal_vx, [&](std::size_t s) { return slots.thermal[s].vx; });
  put(state.thermal_vy, [&](std::size_t s) { return slots.thermal[s].vy; });
  put(state.thermal_spin, [&](std::size_t s) { return slots.thermal[s].spin; });
}

}  // namespace

BedSlots SlotsOfStart(const StartState& start, bool apart) {
  const std::size_t n = start.x.size();
  BedSlots slots;
  slots.spin.assign(n, 0);
  slots.angle = start.angle;
  slots.remainder.assign(n, {});
  slots.turns.assign(n, {});
  if (apart) {
    for (std::vector<float>* row : {&slots.motion_x, &slots.motion_y, &slots.motion_spin}) row->assign(n, 0);
    slots.thermal.assign(n, {});
  }
  for (std::size_t id = 0; id < n; ++id) {
    slots.beads.push_back({start.x[id], start.y[id], 0, 0});
    slots.tag.push_back(TagOf(id, start.spinner[id] != 0));
    slots.start.push_back({start.x[id], start.y[id]});
  }
  slots.built = slots.start;
  return slots;
}

BedSlots SlotsOfState(const BedState& state, const std::vector<Pair32>& start, bool apart) {
  const std::size_t n = state.x.size();
  BedSlots slots;
  const bool expects = apart && !state.expected_vx.empty();
  const std::vector<float>&vx = expects ? state.expected_vx : state.vx, &vy = expects ? state.expected_vy : state.vy;
  slots.spin = expects ? state.expected_spin : state.spin;
  if (apart) {
    slots.motion_x = state.vx;
    slots.motion_y = state.vy;
    slots.motion_spin = state.spin;
    slots.thermal.resize(n);
    for (std::size_t id = 0; id < state.thermal_vx.size(); ++id) {
      slots.thermal[id] = {state.thermal_vx[id], state.thermal_vy[id], state.thermal_spin[id]};
    }
  }
  slots.angle = state.angle;
  slots.start = start;
  for (std::size_t id = 0; id < n; ++id) {
    slots.beads.push_back({state.built_x[id], state.built_y[id], vx[id], vy[id]});
    slots.tag.push_back(TagOf(id, state.kind[id] != 0));
    slots.remainder.push_back({state.remainder_x[id], state.remainder_y[id]});
    slots.built.push_back({state.built_x[id], state.built_y[id]});
    slots.turns.push_back({static_cast<std::int16_t>((state.path_x[id] - state.built_x[id]) >> 32),
                           static_cast<std::int16_t>((state.path_y[id] - state.built_y[id]) >> 32)});
  }
  return slots;
}

void PutSlots(const BedSlots& slots, BedState& state) {
  const auto path = [](std::int16_t turns, std::uint32_t built) {
    return (static_cast<std::int64_t>(turns) << 32) + built;
  };
  const auto put = [&](auto& array, const auto& value_of) { PutById(slots, array, value_of); };
  put(state.x, [&](std::size_t s) { return slots.beads[s].x; });
  put(state.y, [&](std::size_t s) { return slots.beads[s].y; });
  put(state.built_x, [&](std::size_t s) { return slots.built[s].x; });
  put(state.built_y, [&](std::size_t s) { return slots.built[s].y; });
  put(state.path_x, [&](std::size_t s) { return path(slots.turns[s].x, slots.built[s].x); });
  put(state.path_y, [&](std::size_t s) { return path(slots.turns[s].y, slots.built[s].y); });
  put(state.remainder_x, [&](std::size_t s) { return slots.remainder[s].x; });
  put(state.remainder_y, [&](std::size_t s) { return slots.remainder[s].y; });
  put(state.angle, [&](std::size_t s) { return slots.angle[s]; });
  put(state.kind, [&](std::size_t s) { return static_cast<std::uint8_t>(IsSpinner(slots.tag[s])); });
  PutMotions(slots, state);
}

BedSlots FetchSlots(Driver& driver, const BedPlan& plan, std::uint32_t half) {
  BedSlots slots;
  ForArrays(slots, plan, half, [&](auto& array, const auto* at) { array = FetchArray(driver, at, plan.n); });
  driver.Wait();
  return slots;
}

void SendSlots(Driver& driver, const BedPlan& plan, const BedSlots& slots) {
  ForArrays(slots, plan, 0, [&](const auto& array, auto* at) { SendArray(driver, array, at); });
  driver.Wait();
}

}  // namespace gyrebox::kernels::cuda
