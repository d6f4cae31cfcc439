#include "cpu/bed.h"

#include <tbb/parallel_for.h>
#include <tbb/parallel_reduce.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <limits>

#include "model/drive.h"
#include "model/fixed_point.h"
#include "start/start.h"

namespace gyrebox::kernels {
namespace {

constexpr std::int64_t kGroupsPerTile = 16;

const std::vector<Column> kHealthColumns = {
    {"closest_pair", "sigma", "Distance of the closest pair of beads within reach of each other.", 1},
    {"largest_move", "sigma", "Largest move of any bead in the step from this moment on.", 1},
    {"friction_residual", "",
     "How far the motion is from balancing all forces: |b - A V| / |b| of the friction system A V = b.", 1},
};

StepHealth Worse(const StepHealth& a, const StepHealth& b) {
  return {std::min(a.closest_squared, b.closest_squared), std::max(a.largest_move_squared, b.largest_move_squared),
          std::max(a.largest_drift_squared, b.largest_drift_squared)};
}

std::int64_t RoundUp(std::int64_t n, std::int64_t to) { return (n + to - 1) / to * to; }

}  // namespace

std::int64_t MemoryBytes(const RunSpec& spec) {
  const std::int64_t list_rows = 16;
  const std::int64_t per_bead = 2 * static_cast<std::int64_t>(sizeof(BeadRecord)) + 16 + 8 + 16 + 4 + 4 * list_rows +
                                4 + 16 /* start, cells, clusters */;
  return RoundUp(spec.n_beads, kPadding) * per_bead + (1 << 16);
}

const std::vector<Column>& Bed::Columns() {
  static const std::vector<Column> columns = [] {
    std::vector<Column> out = ClusterColumns();
    out.insert(out.end(), kHealthColumns.begin(), kHealthColumns.end());
    return out;
  }();
  return columns;
}

Bed::Bed(const RunSpec& spec, const StepCode& code)
    : spec_(spec),
      code_(code),
      n_padded_(RoundUp(spec.n_beads, kPadding)),
      phase_advance_(PhaseAdvance(spec.drive.frequency, spec.time_step)),
      now_(n_padded_),
      next_(n_padded_),
      remainder_now_(2 * n_padded_),
      remainder_next_(2 * n_padded_),
      built_x_(n_padded_ + kPadding),
      built_y_(n_padded_ + kPadding),
      unwrapped_x_(spec.n_beads),
      unwrapped_y_(spec.n_beads),
      slot_of_(spec.n_beads),
      grid_(spec.side_x, spec.side_y, ListReach(spec)) {
  const StartState start = LayOut(spec);
  if (!start.failure.empty()) {
    verdict_ = Verdict::kFailed;
    fault_ = Fault{Fault::Reason::kStartNotReached, start.failure, 0, 0, {}, {}};
  }
  const float rate = static_cast<float>(DriveAhead(0));
  for (std::int64_t id = 0; id < spec.n_beads; ++id) {
    const bool spinner = start.spinner[id] != 0;
    now_[id] = {start.x[id],
                start.y[id],
                0,
                0,
                spinner && rate_imposed() ? rate : 0.0f,
                static_cast<std::uint32_t>(id),
                spinner ? kSpinner : kPassive,
                0};
    slot_of_[id] = static_cast<std::uint32_t>(id);
  }
  Place(start.x, start.y);
}

void Bed::Place(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y) {
  for (std::int64_t id = 0; id < spec_.n_beads; ++id) {
    const std::uint32_t slot = slot_of_[id];
    now_[slot].x = built_x_[slot] = x[id];
    now_[slot].y = built_y_[slot] = y[id];
    unwrapped_x_[slot] = x[id];
    unwrapped_y_[slot] = y[id];
  }
  lists_valid_ = false;
}

template <class Work>
void Bed::ForGroups(const Work& work) const {
  const std::int64_t groups = n_padded_ / code_.width;
  if (spec_.n_beads < kTiledBeads) {
    work(0, groups);
    return;
  }
  tbb::parallel_for(tbb::blocked_range<std::int64_t>(0, groups, kGroupsPerTile),
                    [&](const auto& range) { work(range.begin(), range.end()); });
}

double Bed::DriveAhead(int steps_ahead) const {
  const std::uint64_t ahead = static_cast<std::uint64_t>(steps_ahead) * phase_advance_ + phase_advance_ / 2;
  return DriveValue(spec_.drive, phase_ + ahead);
}

StepInput Bed::NextStep() const {
  StepInput input;
  input.n_beads = spec_.n_beads;
  input.in = now_.data();
  input.out = const_cast<BeadRecord*>(next_.data());
  input.remainder_in = remainder_now_.data();
  input.remainder_out = const_cast<float*>(remainder_next_.data());
  input.n_padded = n_padded_;
  input.built_x = built_x_.data();
  input.built_y = built_y_.data();
  input.list = {partners_.data(), counts_.data(), capacity_};
  input.side_x = spec_.side_x;
  input.side_y = spec_.side_y;
  input.force = spec_.force;
  input.friction = spec_.friction;
  input.drag = spec_.drag;
  input.temperature = spec_.temperature;
  input.time_step = spec_.time_step;
  input.keys = KeysOfStep(spec_.seeds.noise, static_cast<std::uint64_t>(step_));
  input.rate_imposed = rate_imposed();
  input.next_rate = static_cast<float>(DriveAhead(1));
  input.torque = static_cast<float>(DriveAhead(0));
  return input;
}

StepHealth Bed::Step(const StepInput& input) {
  const std::int64_t groups = n_padded_ / code_.width;
  if (spec_.n_beads < kTiledBeads) return code_.step(input, 0, groups);
  return tbb::parallel_reduce(
      tbb::blocked_range<std::int64_t>(0, groups, kGroupsPerTile), StepHealth{},
      [&](const auto& range, const StepHealth& sofar) {
        return Worse(sofar, code_.step(input, range.begin(), range.end()));
      },
      Worse);
}

RunChunk Bed::Advance(std::int64_t steps) {
  RunChunk chunk;
  for (std::int64_t taken = 0; verdict_ == Verdict::kRunning && (taken < steps || step_ == spec_.n_steps); ++taken) {
    if (!lists_valid_) Rebuild();
    // At the last step the motion is worked out once more, for the closing sample, and not followed.
    if (!Conclude(Step(NextStep()), chunk)) break;
  }
  chunk.step = step_;
  chunk.time = time();
  chunk.verdict = verdict_;
  chunk.fault = fault_;
  return chunk;
}

bool Bed::Conclude(const StepHealth& health, RunChunk& chunk) {
  if (health.closest_squared < spec_.health.closest_pair * spec_.health.closest_pair) {
    FailClosestPair();
    return false;
  }
  const bool last = step_ == spec_.n_steps;
  if (last || step_ % spec_.measure.interval_steps == 0) chunk.samples.push_back(TakeSample(health));
  if (last) {
    verdict_ = Verdict::kFinished;
    return false;
  }
  if (!(health.largest_move_squared <= spec_.health.largest_move * spec_.health.largest_move)) {
    FailLargestMove(health);
    return false;
  }
  std::swap(now_, next_);
  std::swap(remainder_now_, remainder_next_);
  phase_ += phase_advance_;
  ++step_;
  lists_valid_ = health.largest_drift_squared <= kSkin * kSkin / 4;
  return true;
}

Sample Bed::TakeSample(const StepHealth& health) {
  spinner_x_.clear();
  spinner_y_.clear();
  for (std::int64_t id = 0; id < spec_.n_beads; ++id) {
    const BeadRecord& bead = now_[slot_of_[id]];
    if (bead.kind != kSpinner) continue;
    spinner_x_.push_back(bead.x);
    spinner_y_.push_back(bead.y);
  }
  Sample sample;
  sample.step = step_;
  sample.time = time();
  AppendTo(Summarize(clusters_.Find(spinner_x_, spinner_y_, spec_.side_x, spec_.side_y, spec_.measure.bond_length)),
           sample.values);
  const bool alone = health.closest_squared > 1e29f;
  sample.values.push_back(alone ? std::numeric_limits<double>::quiet_NaN() : std::sqrt(health.closest_squared));
  sample.values.push_back(std::sqrt(health.largest_move_squared));
  sample.values.push_back(FrictionResidual());
  return sample;
}

double Bed::FrictionResidual() {
  // Places of now with the motion of the step just computed; an imposed spin is the one it was computed with.
  std::vector<BeadRecord> judged = now_;
  for (std::int64_t slot = 0; slot < spec_.n_beads; ++slot) {
    judged[slot].vx = next_[slot].vx;
    judged[slot].vy = next_[slot].vy;
    if (!(rate_imposed() && judged[slot].kind == kSpinner)) judged[slot].spin = next_[slot].spin;
  }
  std::vector<float> residual(n_padded_), right(n_padded_);
  ResidualInput input{NextStep(), residual.data(), right.data()};
  input.step.in = judged.data();
  ForGroups([&](std::int64_t first, std::int64_t last) { code_.residual(input, first, last); });
  double residual_sum = 0, right_sum = 0;
  for (std::int64_t slot = 0; slot < spec_.n_beads; ++slot) {
    residual_sum += residual[slot];
    right_sum += right[slot];
  }
  return right_sum > 0 ? std::sqrt(residual_sum / right_sum) : 0;
}

void Bed::Rebuild() {
  const auto begin = std::chrono::steady_clock::now();
  SortBeads();
  ListPartners();
  lists_valid_ = true;
  ++rebuilds_.count;
  rebuilds_.seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

// Beads go into the order of their cells, and by number within a cell: a function of their places alone.
void Bed::SortBeads() {
  const std::int64_t n = spec_.n_beads;
  std::vector<std::uint32_t> x(n), y(n);
  std::vector<std::int64_t> path_x(n), path_y(n);
  for (std::int64_t id = 0; id < n; ++id) {
    const std::uint32_t slot = slot_of_[id];
    x[id] = now_[slot].x;
    y[id] = now_[slot].y;
    path_x[id] = unwrapped_x_[slot] + AsSigned(x[id] - built_x_[slot]);
    path_y[id] = unwrapped_y_[slot] + AsSigned(y[id] - built_y_[slot]);
  }
  SortIntoCells(grid_, x, y, cells_);
  for (std::int64_t slot = 0; slot < n; ++slot) {
    const std::uint32_t id = cells_.order[slot];
    const std::uint32_t old = slot_of_[id];
    next_[slot] = now_[old];
    remainder_next_[slot] = remainder_now_[old];
    remainder_next_[n_padded_ + slot] = remainder_now_[n_padded_ + old];
    built_x_[slot] = x[id];
    built_y_[slot] = y[id];
    unwrapped_x_[slot] = path_x[id];
    unwrapped_y_[slot] = path_y[id];
  }
  for (std::int64_t slot = 0; slot < n; ++slot) slot_of_[cells_.order[slot]] = static_cast<std::uint32_t>(slot);
  std::swap(now_, next_);
  std::swap(remainder_now_, remainder_next_);
}

void Bed::ListPartners() {
  const std::int64_t groups = n_padded_ / code_.width;
  counts_.resize(n_padded_);
  for (;;) {
    partners_.resize(static_cast<std::size_t>(groups * capacity_ * code_.width));
    ListInput input{spec_.n_beads,    built_x_.data(),     built_y_.data(),  spec_.side_x,   spec_.side_y,
                    ListReach(spec_), cells_.start.data(), partners_.data(), counts_.data(), capacity_};
    ForGroups([&](std::int64_t first, std::int64_t last) { code_.list(input, grid_, first, last); });
    const std::int64_t most = *std::max_element(counts_.begin(), counts_.end());
    if (most <= capacity_) return;
    capacity_ = RoundUp(most, 8);
  }
}

void Bed::FailClosestPair() {
  Fault fault{Fault::Reason::kClosestPair, "", step_, time(), {}, {}};
  double closest = std::numeric_limits<double>::infinity();
  for (std::int64_t slot = 0; slot < spec_.n_beads; ++slot) {
    const std::int64_t group = slot / code_.width, lane = slot % code_.width;
    for (std::uint32_t k = 0; k < counts_[slot]; ++k) {
      const std::uint32_t other = partners_[(group * capacity_ + k) * code_.width + lane];
      const double dx = Difference(now_[slot].x, now_[other].x, spec_.side_x * 0x1p-32);
      const double dy = Difference(now_[slot].y, now_[other].y, spec_.side_y * 0x1p-32);
      const double r = std::hypot(dx, dy);
      const auto ids = std::minmax(now_[slot].id, now_[other].id);
      if (r > closest || (r == closest && ids.first >= fault.beads[0])) continue;
      closest = r;
      fault.beads = {ids.first, ids.second};
      fault.place = {FromFixed(now_[slot].x, spec_.side_x), FromFixed(now_[slot].y, spec_.side_y)};
    }
  }
  char text[200];
  std::snprintf(text, sizeof(text),
                "beads %lld and %lld came as close as %.3f sigma (limit %.3f) at t = %.6g tau: they pass through each "
                "other",
                static_cast<long long>(fault.beads[0]), static_cast<long long>(fault.beads[1]), closest,
                spec_.health.closest_pair, fault.time);
  fault.message = text;
  verdict_ = Verdict::kUnstable;
  fault_ = fault;
}

void Bed::FailLargestMove(const StepHealth& health) {
  const bool finite = health.largest_move_squared < 1e29f;
  Fault fault{finite ? Fault::Reason::kLargestMove : Fault::Reason::kNotFinite, "", step_, time(), {}, {}};
  double largest = -1;
  for (std::int64_t id = 0; id < spec_.n_beads; ++id) {
    const std::uint32_t slot = slot_of_[id];
    double move = std::hypot(next_[slot].vx, next_[slot].vy) * spec_.time_step;
    if (!std::isfinite(move)) move = std::numeric_limits<double>::infinity();
    if (move <= largest) continue;
    largest = move;
    fault.beads = {id};
    fault.place = {FromFixed(now_[slot].x, spec_.side_x), FromFixed(now_[slot].y, spec_.side_y)};
  }
  char text[200];
  std::snprintf(text, sizeof(text), "bead %lld would move %.3g sigma in one step (limit %.3g) at t = %.6g tau",
                static_cast<long long>(fault.beads[0]), largest, spec_.health.largest_move, fault.time);
  fault.message = text;
  verdict_ = Verdict::kUnstable;
  fault_ = fault;
}

std::vector<Bead> Bed::Beads() const {
  std::vector<Bead> beads(spec_.n_beads);
  const double last_rate = step_ > 0 ? DriveAhead(-1) : 0;
  for (std::int64_t id = 0; id < spec_.n_beads; ++id) {
    const std::uint32_t slot = slot_of_[id];
    const BeadRecord& record = now_[slot];
    Bead& bead = beads[id];
    bead.x = FromFixed(record.x, spec_.side_x);
    bead.y = FromFixed(record.y, spec_.side_y);
    bead.unwrapped_x =
        static_cast<double>(unwrapped_x_[slot] + AsSigned(record.x - built_x_[slot])) * spec_.side_x * 0x1p-32;
    bead.unwrapped_y =
        static_cast<double>(unwrapped_y_[slot] + AsSigned(record.y - built_y_[slot])) * spec_.side_y * 0x1p-32;
    bead.vx = record.vx;
    bead.vy = record.vy;
    bead.spinner = record.kind == kSpinner;
    bead.spin = bead.spinner && rate_imposed() ? last_rate : record.spin;
  }
  return beads;
}

std::vector<std::uint32_t> Bed::PartnersWithin(std::uint32_t id, double distance) const {
  std::vector<std::uint32_t> out;
  const std::uint32_t slot = slot_of_[id];
  const std::int64_t group = slot / code_.width, lane = slot % code_.width;
  for (std::uint32_t k = 0; k < counts_[slot]; ++k) {
    const std::uint32_t other = partners_[(group * capacity_ + k) * code_.width + lane];
    const double dx = Difference(now_[slot].x, now_[other].x, spec_.side_x * 0x1p-32);
    const double dy = Difference(now_[slot].y, now_[other].y, spec_.side_y * 0x1p-32);
    if (dx * dx + dy * dy < distance * distance) out.push_back(now_[other].id);
  }
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace gyrebox::kernels
