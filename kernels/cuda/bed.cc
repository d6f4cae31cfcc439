#include "cuda/bed.h"

#include "cuda/bed_memory.h"
#include "cuda/bed_view.h"
#include "cuda/rebuild.h"
#include "neighbors/reach.h"

namespace gyrebox::kernels::cuda {
namespace {

constexpr std::uint32_t kListStep = kFour;

// All but the addresses of its memory and the capacity of its lists.
BedPlan PlanOf(const Course& course, bool resident) {
  const RunSpec& spec = course.spec();
  BedPlan plan;
  plan.n = static_cast<std::uint32_t>(spec.n_beads);
  plan.stride = StrideOf(spec);
  plan.n_spinners = static_cast<std::uint32_t>(spec.n_spinners);
  plan.grid = GridOf(spec, resident);
  plan.side_x = spec.side_x;
  plan.side_y = spec.side_y;
  plan.laws = {.axis_x = FixedAxis<float>(spec.side_x),
               .axis_y = FixedAxis<float>(spec.side_y),
               .force = PairForce<float>(spec.force),
               .friction = PairFriction<float>(spec.friction),
               .noise = {},
               .translational = static_cast<float>(spec.drag.translational),
               .rotational = static_cast<float>(spec.drag.rotational),
               .transverse_coupling = static_cast<float>(spec.dynamics.transverse_coupling)};
  plan.dynamics = spec.dynamics;
  plan.rate_imposed = course.rate_imposed();
  plan.reach_squared = LimitSquared(ListReach(spec));
  plan.half_skin_squared = LimitSquared(course.half_skin());
  plan.closest_squared = LimitSquared(spec.health.closest_pair);
  plan.noise_seed = spec.seeds.noise;
  plan.disorder_seed = spec.seeds.disorder;
  plan.drive_scale = course.drive_scale();
  plan.force = spec.force;
  plan.drag = spec.drag;
  plan.bond_length = spec.measure.bond_length;
  plan.wide = IsWide(spec, resident);
  return plan;
}

}  // namespace

DeviceBed::DeviceBed(Driver& driver, const RunSpec& spec, const StartState& start)
    : driver_(driver),
      course_(spec),
      observables_(course_.spec()),
      spinners_(SpinnerIds(start)),
      resident_(IsResident(course_.spec(), driver)) {
  if (!start.failure.empty()) {
    course_.FailToStart(start.failure);
    return;
  }
  plan_ = PlanOf(course_, resident_);
  TakeMemory();
  TakeLists(kFirstCapacity);
  const BedSlots slots = SlotsOfStart(start, apart());
  start_ = slots.start;
  Upload(slots);
}

std::size_t DeviceBed::shared_bytes() const { return SharedBytes(plan_.stride, plan_.grid); }

void DeviceBed::TakeMemory() {
  const auto lay_out = [&](void* base) {
    return LayOutBed(course_.spec(), resident_, driver_.max_blocks(), base, plan_.memory);
  };
  memory_ = std::make_unique<DeviceBlock>(driver_, lay_out(nullptr));
  lay_out(memory_->at());
}

void DeviceBed::GrowLists(std::uint32_t partners) {
  if (partners == kTooFar) {
    plan_.wide = true;
    return TakeLists(plan_.capacity);
  }
  TakeLists((partners + kListStep - 1) / kListStep * kListStep);
}

void DeviceBed::TakeLists(std::uint32_t capacity) {
  plan_.capacity = capacity;
  lists_.reset();
  lists_ = std::make_unique<DeviceBlock>(driver_, ListBytes(course_.spec(), capacity, plan_.wide));
  plan_.memory.list = lists_->at();
  status_.lists_valid = false;
}

bool DeviceBed::may_differ() const {
  if (own_since_ || !IsUniform(course_.settings().disorder)) return true;
  return !course_.controls().adjustments().empty();
}

Moment DeviceBed::moment() const {
  return {course_.step(), course_.time(), course_.settings().temperature, course_.at_whole_sample()};
}

void DeviceBed::RewindTo(const Position& position) {
  course_.Rewind(position.step, position.substep, position.has_past);
  phases_ = position.phases;
  planned_ = position.planned;
  sampled_at_ = samples_stand_;
  for (; planned_ < status_.taken; ++planned_) {
    if (course_.substep() == 0) course_.controls().MoveTo(course_.step());
    AdvancePhases(course_.settings().wave, course_.substep_time(), 1, phases_);
    course_.Pass();
  }
  if (own_since_ && *own_since_ > planned_) own_since_.reset();
}

}  // namespace gyrebox::kernels::cuda
