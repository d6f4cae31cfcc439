#include "queue/choose.h"

#include <algorithm>
#include <numeric>
#include <set>
#include <tuple>

namespace gyrebox::queue {
namespace {

using Used = std::function<double(const std::string&)>;

/// Load of the device before a choice.
struct Device {
  int64_t bytes = 0;
  size_t ensembles = 0;

  bool Holds(const Work& more, const Limits& limits) const {
    return ensembles == 0 || (bytes + more.bytes <= limits.memory_bytes && ensembles < limits.max_ensembles);
  }
};

int64_t BeadsOf(const std::vector<Work>& work, const std::string& user) {
  int64_t beads = 0;
  for (const Work& one : work) beads += one.on_device && one.user == user ? one.beads : 0;
  return beads;
}

bool OverQuota(const std::vector<Work>& work, const Work& start, const Limits& limits) {
  const int64_t there = BeadsOf(work, start.user);
  return limits.max_beads_per_user > 0 && there > 0 && there + start.beads > limits.max_beads_per_user;
}

/// Whether work may evict other work. The preemption margin keeps users with about equal use from swapping in every
/// slice, as each swap costs a save and a load. A new user need not wait for the margin.
bool MayPush(const Work& start, const Work& other, const Used& used, const Limits& limits) {
  if (start.user == other.user) return true;  // the order within one user is fixed
  const double of_other = used(other.user);
  return of_other - used(start.user) >= std::min(limits.preemption_margin, of_other / 2);
}

/// Ensembles to evict so that work can start, last in order first. None if that does not make enough room.
std::optional<std::vector<size_t>> RoomFor(const std::vector<Work>& work, const std::vector<size_t>& order, size_t at,
                                           Device device, const Used& used, const Limits& limits) {
  const Work& start = work[order[at]];
  std::vector<size_t> leave;
  for (size_t k = order.size(); k-- > at + 1 && !device.Holds(start, limits);) {
    const Work& other = work[order[k]];
    if (!other.on_device || other.starting || !MayPush(start, other, used, limits)) continue;
    leave.push_back(order[k]);
    device.bytes -= other.bytes;
    --device.ensembles;
  }
  if (!device.Holds(start, limits)) return std::nullopt;
  return leave;
}

}  // namespace

std::vector<size_t> InOrder(const std::vector<Work>& work, const Used& used) {
  std::vector<double> use;
  for (const Work& one : work) use.push_back(used(one.user));
  std::vector<size_t> order(work.size());
  std::iota(order.begin(), order.end(), size_t{0});
  const auto key = [&](size_t i) {
    return std::make_tuple(use[i], std::cref(work[i].user), -work[i].priority, work[i].study, !work[i].on_device);
  };
  std::sort(order.begin(), order.end(), [&](size_t a, size_t b) { return key(a) < key(b); });
  return order;
}

Choice Choose(const std::vector<Work>& work, const Used& used, const Limits& limits) {
  Device device;
  for (const Work& one : work) {
    if (!one.on_device) continue;
    device.bytes += one.bytes;
    ++device.ensembles;
  }
  const std::vector<size_t> order = InOrder(work, used);
  std::set<std::string> starting;  // users
  for (size_t at = 0; at < order.size(); ++at) {
    const Work& one = work[order[at]];
    if (one.starting) starting.insert(one.user);
    if (one.starting) continue;
    if (one.on_device) return {order[at], {}};
    if (starting.contains(one.user) || OverQuota(work, one, limits)) continue;
    if (auto leave = RoomFor(work, order, at, device, used, limits)) return {order[at], *std::move(leave)};
  }
  return {};
}

}  // namespace gyrebox::queue
