#include "cuda/bed.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "cuda/measure_memory.h"
#include "cuda/measured.h"
#include "cuda/rebuild.h"
#include "cuda/resident.h"
#include "measure/pairs/cell_list.h"
#include "model/fixed_point.h"
#include "neighbors/reach.h"

namespace gyrebox::kernels::cuda {
namespace {

// Initial capacity of a list, partners per bead. A bead has 9 partners within 1.7 sigma in a dense bed, and at most 13
// unless the bed is compressed.
constexpr std::uint32_t kFirstCapacity = 16;
constexpr std::uint32_t kListStep = kFour;
static_assert(kFirstCapacity % kFour == 0 && kFirstCapacity >= 2 * kFour);
// Columns of a strip, log2: the beads of a block and their partners then lie within 6 x 27 cells instead of 3 x 102.
constexpr int kStripBits = 2;

std::uint32_t Stride(const RunSpec& spec) {
  return static_cast<std::uint32_t>((spec.n_beads + kTile - 1) / kTile * kTile);
}

CellGrid GridOf(const RunSpec& spec, bool resident) {
  const double mean = std::sqrt(spec.side_x * spec.side_y / static_cast<double>(spec.n_beads));
  return CellGrid(spec.side_x, spec.side_y, std::max(ListReach(spec), mean),
                  resident ? CellGrid::kOneStrip : kStripBits);
}

std::size_t ResidentBytes(std::uint32_t stride, const CellGrid& grid) {
  return ResidentArrays(nullptr, stride, static_cast<std::uint32_t>(grid.count())).bytes;
}

// Whether the offset in memory to a partner, about the length of a strip of cells, may exceed 16 bits.
bool IsWide(const RunSpec& spec, bool resident) {
  const double beads_of_column = static_cast<double>(spec.n_beads) / GridOf(spec, resident).nx;
  return !resident && beads_of_column * (1 << kStripBits) * 1.25 > std::numeric_limits<StreamedIndex>::max();
}

std::size_t ListBytes(const RunSpec& spec, std::uint32_t capacity, bool wide) {
  const std::size_t index = wide ? sizeof(WideIndex) : sizeof(StreamedIndex);
  return Stride(spec) * std::max<std::size_t>(capacity * index, RebuildScratch::kBytesPerBead);
}

// Assigns consecutive parts of a block; with a null base it only counts bytes.
class Carver {
 public:
  explicit Carver(void* base) : base_(static_cast<std::byte*>(base)) {}
  template <class T>
  void Take(T*& part, std::size_t n) {
    part = base_ == nullptr ? nullptr : reinterpret_cast<T*>(base_ + used_);
    used_ += (n * sizeof(T) + 255) / 256 * 256;
  }
  std::size_t used() const { return used_; }

 private:
  std::byte* base_;
  std::size_t used_ = 0;
};

// Assigns all memory but the lists and the per-spinner drives. @return bytes.
std::size_t Carve(const RunSpec& spec, bool resident, std::uint32_t max_blocks, void* base, BedMemory& memory) {
  Carver carver(base);
  const std::size_t stride = Stride(spec);
  const auto cells = static_cast<std::size_t>(GridOf(spec, resident).count());
  carver.Take(memory.beads, 2 * stride);
  carver.Take(memory.spin, 2 * stride);
  carver.Take(memory.angle, 2 * stride);
  carver.Take(memory.remainder, 2 * stride);
  carver.Take(memory.tag, stride);
  carver.Take(memory.built, stride);
  carver.Take(memory.start, stride);
  carver.Take(memory.turns, stride);
  if (CarriesSweeps(spec)) {
    carver.Take(memory.motion, 3 * stride);
    carver.Take(memory.thermal, 2 * stride);
  }
  carver.Take(memory.counts, stride);
  carver.Take(memory.cell_start, cells + 1);
  carver.Take(memory.cell_fill, cells);
  carver.Take(memory.block_totals, max_blocks);
  carver.Take(memory.partials, kMaxSums * SumNumbers(static_cast<std::uint32_t>(spec.n_beads)));
  if (spec.dynamics.equation == DynamicsSpec::Equation::kConverged) {
    carver.Take(memory.work, 2 * stride);
    carver.Take(memory.work_spin, 2 * stride);
    carver.Take(memory.known, 3 * stride);
    carver.Take(memory.random, 3 * stride);
  }
  std::byte* measure = nullptr;
  carver.Take(measure, MeasureBytes(Stride(spec), static_cast<std::uint32_t>(spec.n_spinners)));
  memory.measure = measure;
  return carver.used();
}

// A bed's part of an ensemble's tables: a sample in each of the two current rounds, and the numbers of a few steps.
// Tables grow by half as much again.
constexpr std::size_t kTableBytes =
    3 * (sizeof(MeasuredSums) + sizeof(Probe) + sizeof(BedStatus) + sizeof(StepBatch) +
         2 * (sizeof(StepRequest) + sizeof(StepNumbers) + sizeof(StepSettings) + sizeof(PerSpinnerDriveNumbers))) +
    2 * sizeof(BedPlan);

// The squared limit, rounded to float.
float LimitSquared(double limit) { return static_cast<float>(limit * limit); }

}  // namespace

bool IsResident(const RunSpec& spec, const Driver& driver) {
  return spec.n_beads <= kResidentBeads && ResidentBytes(Stride(spec), GridOf(spec, true)) <= driver.resident_bytes();
}

std::int64_t BytesOf(const RunSpec& spec, const Driver& driver) {
  const bool resident = IsResident(spec, driver);
  BedMemory memory;
  return static_cast<std::int64_t>(Carve(spec, resident, driver.max_blocks(), nullptr, memory) +
                                   ListBytes(spec, kFirstCapacity, IsWide(spec, resident)) + kTableBytes);
}

DeviceBed::DeviceBed(Driver& driver, const RunSpec& spec, const StartState& start)
    : driver_(driver), course_(spec), observables_(course_.spec()), resident_(IsResident(course_.spec(), driver)) {
  if (!start.failure.empty()) {
    course_.FailToStart(start.failure);
    return;
  }
  GenerateInitialState(start);
}

std::size_t DeviceBed::shared_bytes() const { return ResidentBytes(plan_.stride, plan_.grid); }

void DeviceBed::GenerateInitialState(const StartState& start) {
  const RunSpec& spec = course_.spec();
  BedMemory& memory = plan_.memory;
  const std::size_t bytes = Carve(spec, resident_, driver_.max_blocks(), nullptr, memory);
  memory_ = std::make_unique<DeviceBlock>(driver_, bytes);
  Carve(spec, resident_, driver_.max_blocks(), memory_->at(), memory);
  plan_.n = static_cast<std::uint32_t>(spec.n_beads);
  plan_.stride = Stride(spec);
  plan_.n_spinners = static_cast<std::uint32_t>(spec.n_spinners);
  plan_.grid = GridOf(spec, resident_);
  plan_.side_x = spec.side_x;
  plan_.side_y = spec.side_y;
  plan_.laws = {.axis_x = FixedAxis<float>(spec.side_x),
                .axis_y = FixedAxis<float>(spec.side_y),
                .force = PairForce<float>(spec.force),
                .friction = PairFriction<float>(spec.friction),
                .noise = {},
                .translational = static_cast<float>(spec.drag.translational),
                .rotational = static_cast<float>(spec.drag.rotational),
                .transverse_coupling = static_cast<float>(spec.dynamics.transverse_coupling)};
  plan_.dynamics = spec.dynamics;
  plan_.rate_imposed = course_.rate_imposed();
  plan_.reach_squared = LimitSquared(ListReach(spec));
  plan_.half_skin_squared = LimitSquared(course_.half_skin());
  plan_.closest_squared = LimitSquared(spec.health.closest_pair);
  plan_.noise_seed = spec.seeds.noise;
  plan_.disorder_seed = spec.seeds.disorder;
  plan_.drive_scale = course_.drive_scale();
  plan_.force = spec.force;
  plan_.drag = spec.drag;
  plan_.bond_length = spec.measure.bond_length;
  plan_.wide = IsWide(spec, resident_);
  TakeLists(kFirstCapacity);

  const auto n = static_cast<std::size_t>(spec.n_beads);
  Slots slots;
  slots.spin.assign(n, 0);
  slots.angle = start.angle;
  slots.remainder.assign(n, {});
  slots.turns.assign(n, {});
  if (memory.motion != nullptr) {
    for (std::vector<float>* row : {&slots.motion_x, &slots.motion_y, &slots.motion_spin}) row->assign(n, 0);
    slots.thermal.assign(n, {});
  }
  for (std::uint32_t id = 0; id < n; ++id) {
    const Pair32 position = {start.x[id], start.y[id]};
    const bool spinner = start.spinner[id] != 0;
    if (spinner) spinners_.push_back(id);
    slots.beads.push_back({position.x, position.y, 0, 0});
    slots.tag.push_back(id | (spinner ? kSpinnerBit : 0));
    start_.push_back(position);
  }
  slots.built = slots.start = start_;
  Upload(slots);
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

template <class T>
std::vector<T> DeviceBed::FetchArray(const T* from) {
  std::vector<T> out(plan_.n);
  driver_.CopyOut(out.data(), from, plan_.n * sizeof(T));
  return out;
}
template <class T>
void DeviceBed::SendArray(const std::vector<T>& from, T* to) {
  driver_.CopyIn(to, from.data(), from.size() * sizeof(T));
}

DeviceBed::Slots DeviceBed::Fetch() {
  const BedMemory& memory = plan_.memory;
  const std::size_t at = static_cast<std::size_t>(status_.half) * plan_.stride;
  Slots slots;
  slots.beads = FetchArray(memory.beads + at);
  slots.spin = FetchArray(memory.spin + at);
  slots.angle = FetchArray(memory.angle + at);
  slots.remainder = FetchArray(memory.remainder + at);
  slots.tag = FetchArray(memory.tag);
  slots.built = FetchArray(memory.built);
  slots.start = FetchArray(memory.start);
  slots.turns = FetchArray(memory.turns);
  if (memory.motion != nullptr) {
    slots.motion_x = FetchArray(memory.motion);
    slots.motion_y = FetchArray(memory.motion + plan_.stride);
    slots.motion_spin = FetchArray(memory.motion + 2 * std::size_t{plan_.stride});
    slots.thermal = FetchArray(memory.thermal + at);
  }
  driver_.Wait();
  return slots;
}

// Uploads to the first half. Waits, so that the caller may free the arrays.
void DeviceBed::Upload(const Slots& slots) {
  const BedMemory& memory = plan_.memory;
  SendArray(slots.beads, memory.beads);
  SendArray(slots.spin, memory.spin);
  SendArray(slots.angle, memory.angle);
  SendArray(slots.remainder, memory.remainder);
  SendArray(slots.tag, memory.tag);
  SendArray(slots.built, memory.built);
  SendArray(slots.start, memory.start);
  SendArray(slots.turns, memory.turns);
  if (memory.motion != nullptr) {
    SendArray(slots.motion_x, memory.motion);
    SendArray(slots.motion_y, memory.motion + plan_.stride);
    SendArray(slots.motion_spin, memory.motion + 2 * std::size_t{plan_.stride});
    SendArray(slots.thermal, memory.thermal);
  }
  driver_.Wait();
  status_.half = 0;
  status_.lists_valid = false;
}

// Gives spinners phases of their own once the drive first differs between them. If the device stops before that step,
// RewindTo() undoes this, and they are assigned again.
void DeviceBed::DifferFrom(const kernels::Settings& settings) {
  if (own_since_ || IsUniform(settings.disorder) || spinners_.empty()) return;
  TakeOwnMemory();
  SendOwnPhases(std::vector<Phases>(spinners_.size(), phases_), std::vector<std::uint32_t>(spinners_.size(), 0));
  own_since_ = planned_;
}

// Allocates the memory of the per-spinner drive, and sends the spinners' random numbers.
void DeviceBed::TakeOwnMemory() {
  if (own_memory_ != nullptr) return;
  PerSpinnerDrive& own = plan_.memory.own;
  const std::size_t n = spinners_.size();
  const auto carve = [&](void* base) {
    Carver carver(base);
    carver.Take(own.spinner_of_id, plan_.n);
    carver.Take(own.numbers, n);
    carver.Take(own.phases, n);
    carver.Take(own.turns, n);
    return carver.used();
  };
  own_memory_ = std::make_unique<DeviceBlock>(driver_, carve(nullptr));
  carve(own_memory_->at());
  std::vector<std::uint32_t> spinner_of_id(plan_.n, 0);
  std::vector<SpinnerNumbers> numbers;
  for (std::uint32_t s = 0; s < n; ++s) {
    spinner_of_id[spinners_[s]] = s;
    numbers.push_back(NumbersOfSpinner(course_.spec().seeds.disorder, spinners_[s]));
  }
  SendArray(spinner_of_id, own.spinner_of_id);
  SendArray(numbers, own.numbers);
  driver_.Wait();
}

void DeviceBed::SendOwnPhases(const std::vector<Phases>& phases, const std::vector<std::uint32_t>& turns) {
  SendArray(phases, plan_.memory.own.phases);
  SendArray(turns, plan_.memory.own.turns);
  driver_.Wait();
}

StepSettings DeviceBed::NumbersOf(const kernels::Settings& settings) const {
  const NoiseAmplitudes<float> noise(settings.friction, course_.spec().drag, settings.temperature,
                                     course_.substep_time());
  StepSettings numbers;
  numbers.time = course_.substep_time();
  numbers.drive_ahead = course_.drive_ahead();
  numbers.weight = static_cast<float>(course_.carried_weight());
  numbers.largest_move_squared = LimitSquared(course_.largest_move());
  numbers.differ = !IsUniform(settings.disorder) && !spinners_.empty();
  numbers.thermal = settings.temperature > 0;
  numbers.tangential = static_cast<float>(settings.friction.tangential);
  numbers.normal = static_cast<float>(settings.friction.normal);
  numbers.along = noise.along;
  numbers.across = noise.across;
  numbers.velocity = noise.velocity;
  numbers.turning = noise.spin;
  return numbers;
}

void DeviceBed::PlanSubsteps(std::uint32_t n, StepRequest* requests, Settings& planned) {
  bool carried = false;
  for (std::uint32_t k = 0;; ++k) {
    const bool changed = course_.substep() == 0 && course_.controls().MoveTo(course_.step());
    const kernels::Settings& settings = course_.settings();
    // The first substep after a jump does not extrapolate, so the second one needs other settings.
    const bool carries = course_.carried_weight() > 0;
    if (changed || k == 0 || carries != carried) {
      carried = carries;
      DifferFrom(settings);
      planned.steps.push_back(NumbersOf(settings));
      if (own_since_) {
        planned.steps.back().per_spinner_drive = static_cast<std::int32_t>(planned.own_drives.size());
        planned.own_drives.push_back({settings.wave, settings.disorder});
      }
    }
    const double time = planned.steps.back().time;
    const double drive = plan_.drive_scale * CommonDriveValue(settings.wave, planned.steps.back().drive_ahead, phases_);
    requests[k] = {course_.moment(), static_cast<float>(drive), static_cast<std::uint32_t>(planned.steps.size() - 1)};
    if (k == n) return;
    AdvancePhases(settings.wave, time, 1, phases_);
    course_.Pass();
    ++planned_;
  }
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

void DeviceBed::DescribeFault() {
  const RunSpec& spec = course_.spec();
  const Slots slots = Fetch();
  const auto position = [&](std::uint32_t slot) {
    return std::vector<double>{FromFixed(slots.beads[slot].x, spec.side_x),
                               FromFixed(slots.beads[slot].y, spec.side_y)};
  };
  if (status_.stop == Stop::kNotConverged) {
    course_.FailNotConverged(status_.residual);
    return;
  }
  if (status_.closest_squared < plan_.closest_squared) {
    std::vector<std::uint32_t> x, y;
    for (const PositionVelocity& bead : slots.beads) x.push_back(bead.x), y.push_back(bead.y);
    CellList near;
    near.Sort(x, y, spec.side_x, spec.side_y, spec.health.closest_pair);
    double closest = std::numeric_limits<double>::infinity();
    std::uint32_t a = 0, b = 0;
    near.ForPairs([&](std::uint32_t one, std::uint32_t other, double, double, double r2) {
      if (r2 >= closest) return;
      closest = r2;
      a = near.id(one);
      b = near.id(other);
    });
    if (IdOf(slots.tag[b]) < IdOf(slots.tag[a])) std::swap(a, b);
    course_.FailClosestPair({IdOf(slots.tag[a]), IdOf(slots.tag[b])}, position(a), std::sqrt(closest));
    return;
  }
  const std::vector<PositionVelocity> next =
      FetchArray(plan_.memory.beads + (status_.half ^ 1u) * std::size_t{plan_.stride});
  driver_.Wait();
  double largest = -1;
  std::uint32_t worst = 0;
  for (std::uint32_t slot = 0; slot < plan_.n; ++slot) {
    double move = std::hypot(next[slot].vx, next[slot].vy);
    if (!std::isfinite(move)) move = std::numeric_limits<double>::infinity();
    if (move < largest || (move == largest && IdOf(slots.tag[slot]) > IdOf(slots.tag[worst]))) continue;
    largest = move;
    worst = slot;
  }
  const bool is_number = std::isfinite(largest) && status_.largest_move_squared < 1e29f;
  course_.FailLargestMove(IdOf(slots.tag[worst]), position(worst), std::sqrt(status_.largest_move_squared), is_number);
}

BedState DeviceBed::Save() {
  const Slots slots = Fetch();
  BedState state;
  state.step = course_.step();
  state.halvings = course_.halvings();
  state.has_past = course_.has_past();
  state.lists_valid = status_.lists_valid;
  const auto each = [&](auto& array, auto value_of) {
    array.resize(plan_.n);
    for (std::uint32_t slot = 0; slot < plan_.n; ++slot) array[IdOf(slots.tag[slot])] = value_of(slot);
  };
  const auto path = [](std::int16_t turns, std::uint32_t built) {
    return (static_cast<std::int64_t>(turns) << 32) + built;
  };
  each(state.x, [&](std::uint32_t s) { return slots.beads[s].x; });
  each(state.y, [&](std::uint32_t s) { return slots.beads[s].y; });
  each(state.built_x, [&](std::uint32_t s) { return slots.built[s].x; });
  each(state.built_y, [&](std::uint32_t s) { return slots.built[s].y; });
  each(state.path_x, [&](std::uint32_t s) { return path(slots.turns[s].x, slots.built[s].x); });
  each(state.path_y, [&](std::uint32_t s) { return path(slots.turns[s].y, slots.built[s].y); });
  each(state.remainder_x, [&](std::uint32_t s) { return slots.remainder[s].x; });
  each(state.remainder_y, [&](std::uint32_t s) { return slots.remainder[s].y; });
  const bool apart = !slots.motion_x.empty();
  each(state.vx, [&](std::uint32_t s) { return apart ? slots.motion_x[s] : slots.beads[s].vx; });
  each(state.vy, [&](std::uint32_t s) { return apart ? slots.motion_y[s] : slots.beads[s].vy; });
  each(state.spin, [&](std::uint32_t s) { return apart ? slots.motion_spin[s] : slots.spin[s]; });
  if (apart) {
    each(state.expected_vx, [&](std::uint32_t s) { return slots.beads[s].vx; });
    each(state.expected_vy, [&](std::uint32_t s) { return slots.beads[s].vy; });
    each(state.expected_spin, [&](std::uint32_t s) { return slots.spin[s]; });
    each(state.thermal_vx, [&](std::uint32_t s) { return slots.thermal[s].vx; });
    each(state.thermal_vy, [&](std::uint32_t s) { return slots.thermal[s].vy; });
    each(state.thermal_spin, [&](std::uint32_t s) { return slots.thermal[s].spin; });
  }
  each(state.angle, [&](std::uint32_t s) { return slots.angle[s]; });
  each(state.kind, [&](std::uint32_t s) { return static_cast<std::uint8_t>(IsSpinner(slots.tag[s])); });
  DriveState drive;
  drive.phases = phases_;
  if (own_since_) {
    drive.own_phases.resize(spinners_.size());
    drive.turns.resize(spinners_.size());
    driver_.CopyOut(drive.own_phases.data(), plan_.memory.own.phases, drive.own_phases.size() * sizeof(Phases));
    driver_.CopyOut(drive.turns.data(), plan_.memory.own.turns, drive.turns.size() * sizeof(std::uint32_t));
    driver_.Wait();
  }
  PutDrive(drive, state);
  return state;
}

void DeviceBed::BeginLoad(const BedState& state) {
  course_.Check(state);
  const std::size_t n = plan_.n;
  Slots slots;
  const bool apart = plan_.memory.motion != nullptr, expects = apart && !state.expected_vx.empty();
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
  slots.start = start_;
  for (std::size_t id = 0; id < n; ++id) {
    slots.beads.push_back({state.built_x[id], state.built_y[id], vx[id], vy[id]});
    slots.tag.push_back(static_cast<std::uint32_t>(id) | (state.kind[id] != 0 ? kSpinnerBit : 0));
    slots.remainder.push_back({state.remainder_x[id], state.remainder_y[id]});
    slots.built.push_back({state.built_x[id], state.built_y[id]});
    slots.turns.push_back({static_cast<std::int16_t>((state.path_x[id] - state.built_x[id]) >> 32),
                           static_cast<std::int16_t>((state.path_y[id] - state.built_y[id]) >> 32)});
  }
  Upload(slots);
  const DriveState drive = DriveOf(state);
  phases_ = drive.phases;
  course_.GoTo(state);
  own_since_.reset();
  if (!drive.turns.empty()) {
    TakeOwnMemory();
    SendOwnPhases(drive.own_phases, drive.turns);
    own_since_ = status_.taken;
  }
  status_.stop = Stop::kNone;
  planned_ = status_.taken;
  sampled_at_ = samples_stand_ = state.step - 1;
}

void DeviceBed::FinishLoad(const BedState& state) {
  const std::size_t at = static_cast<std::size_t>(status_.half) * plan_.stride;
  std::vector<PositionVelocity> beads = FetchArray(plan_.memory.beads + at);
  const std::vector<std::uint32_t> tags = FetchArray(plan_.memory.tag);
  driver_.Wait();
  for (std::size_t slot = 0; slot < beads.size(); ++slot) {
    beads[slot].x = state.x[IdOf(tags[slot])];
    beads[slot].y = state.y[IdOf(tags[slot])];
  }
  SendArray(beads, plan_.memory.beads + at);
  driver_.Wait();
  status_.lists_valid = state.lists_valid;
}

std::vector<Bead> DeviceBed::Beads() {
  const RunSpec& spec = course_.spec();
  std::vector<Bead> beads(static_cast<std::size_t>(spec.n_beads));
  if (!has_memory()) return beads;
  const BedState state = Save();
  for (std::size_t id = 0; id < beads.size(); ++id) {
    Bead& bead = beads[id];
    bead.x = FromFixed(state.x[id], spec.side_x);
    bead.y = FromFixed(state.y[id], spec.side_y);
    const std::int64_t path_x = state.path_x[id] + AsSigned(state.x[id] - state.built_x[id]);
    const std::int64_t path_y = state.path_y[id] + AsSigned(state.y[id] - state.built_y[id]);
    bead.unwrapped_x = static_cast<double>(path_x) * spec.side_x * 0x1p-32;
    bead.unwrapped_y = static_cast<double>(path_y) * spec.side_y * 0x1p-32;
    const bool parted = !state.thermal_vx.empty();
    bead.vx = parted ? state.vx[id] + state.thermal_vx[id] : state.vx[id];
    bead.vy = parted ? state.vy[id] + state.thermal_vy[id] : state.vy[id];
    bead.spin = parted ? state.spin[id] + state.thermal_spin[id] : state.spin[id];
    bead.angle = AngleValue(state.angle[id]);
    bead.spinner = state.kind[id] != 0;
  }
  return beads;
}

}  // namespace gyrebox::kernels::cuda
