#include "start/start.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

#include "gyrebox/device.h"
#include "model/fixed_point.h"
#include "model/noise.h"
#include "start/separate.h"

namespace gyrebox::kernels {
namespace {

using Arrangement = StartSpec::Arrangement;
using Labels = StartSpec::Labels;

bool IsGivenUp(const std::atomic<bool>* give_up) { return give_up != nullptr && *give_up; }

void RandomPositions(const RunSpec& spec, const std::atomic<bool>* give_up, StartState& out) {
  for (std::int64_t i = 0; i < spec.n_beads && !IsGivenUp(give_up); ++i) {
    const auto index = static_cast<std::uint64_t>(i);
    out.x[i] = ToFixed(UniformOf(spec.seeds.positions, Stream::kPositions, index, 0));
    out.y[i] = ToFixed(UniformOf(spec.seeds.positions, Stream::kPositions, index, 1));
  }
  out.failure = Separate(spec.side_x, spec.side_y, spec.start.closest_pair, out.x, out.y, give_up);
}

void LatticePositions(const RunSpec& spec, StartState& out) {
  const LatticeShape shape = ShapeOfLattice(spec.start.arrangement, spec.n_beads, spec.side_y / spec.side_x);
  const bool staggered = spec.start.arrangement == Arrangement::kTriangular;
  for (std::int64_t i = 0; i < spec.n_beads; ++i) {
    const std::int64_t row = i / shape.columns, column = i % shape.columns;
    const double shift = staggered ? (row % 2 == 0 ? 0.25 : 0.75) : 0.5;
    out.x[i] = ToFixed((static_cast<double>(column) + shift) / static_cast<double>(shape.columns));
    out.y[i] = ToFixed((static_cast<double>(row) + 0.5) / static_cast<double>(shape.rows));
  }
}

void GivenPositions(const RunSpec& spec, StartState& out) {
  for (std::int64_t i = 0; i < spec.n_beads; ++i) {
    out.x[i] = ToFixed(spec.start.given_x[i] / spec.side_x);
    out.y[i] = ToFixed(spec.start.given_y[i] / spec.side_y);
  }
}

// Sort key of each bead: those with the smallest keys are the spinners.
std::vector<double> LabelOrder(const RunSpec& spec, const StartState& state) {
  std::vector<double> order(static_cast<std::size_t>(spec.n_beads));
  for (std::int64_t i = 0; i < spec.n_beads; ++i) {
    const double from_middle_x = (FromFixed(state.x[i], 1) - 0.5) * spec.side_x;
    const double from_middle_y = (FromFixed(state.y[i], 1) - 0.5) * spec.side_y;
    switch (spec.start.labels) {
      case Labels::kScattered:
        order[i] = UniformOf(spec.seeds.positions, Stream::kLabels, static_cast<std::uint64_t>(i), 0);
        break;
      case Labels::kDrop:
        order[i] = std::hypot(from_middle_x, from_middle_y);
        break;
      case Labels::kStripe:  // parallel to the shorter side: shortest interface
        order[i] = std::abs(spec.side_x <= spec.side_y ? from_middle_y : from_middle_x);
        break;
    }
  }
  return order;
}

std::vector<std::uint8_t> SpinnersOf(const RunSpec& spec, const StartState& state) {
  const std::vector<double> order = LabelOrder(spec, state);
  std::vector<std::int64_t> ids(order.size());
  std::iota(ids.begin(), ids.end(), std::int64_t{0});
  const auto before = [&](std::int64_t a, std::int64_t b) {
    return order[a] != order[b] ? order[a] < order[b] : a < b;
  };
  std::nth_element(ids.begin(), ids.begin() + spec.n_spinners, ids.end(), before);
  std::vector<std::uint8_t> spinner(order.size(), 0);
  for (std::int64_t k = 0; k < spec.n_spinners; ++k) spinner[ids[k]] = 1;
  return spinner;
}

}  // namespace

double RowHeight(StartSpec::Arrangement arrangement) {
  return arrangement == Arrangement::kTriangular ? std::numbers::sqrt3 / 2 : 1;
}

LatticeShape ShapeOfLattice(StartSpec::Arrangement arrangement, std::int64_t n_beads, double aspect_ratio) {
  const std::int64_t stride = arrangement == Arrangement::kTriangular ? 2 : 1;
  LatticeShape best;
  double best_strain = 0;
  const auto consider = [&](std::int64_t rows) {
    if (rows % stride != 0 || (stride == 2 && n_beads / rows < 2)) return;
    const std::int64_t columns = n_beads / rows;
    const double natural = static_cast<double>(rows) * RowHeight(arrangement) / static_cast<double>(columns);
    const double strain = std::abs(std::log(natural / aspect_ratio));
    if (best.rows == 0 || strain < best_strain) {
      best = {columns, rows};
      best_strain = strain;
    }
  };
  for (std::int64_t divisor = 1; divisor * divisor <= n_beads; ++divisor) {
    if (n_beads % divisor != 0) continue;
    consider(divisor);
    consider(n_beads / divisor);
  }
  return best;
}

StartState GenerateInitialState(const RunSpec& spec, const std::atomic<bool>* give_up) {
  if (spec.start.initial != nullptr) return *spec.start.initial;
  if (spec.start.arrangement == Arrangement::kSaved) {
    const SavedBed& saved = *spec.start.saved;
    return {saved.x, saved.y, saved.angle, saved.spinner, {}};
  }
  StartState out;
  out.angle.assign(static_cast<std::size_t>(spec.n_beads), 0);
  out.x.resize(static_cast<std::size_t>(spec.n_beads));
  out.y.resize(static_cast<std::size_t>(spec.n_beads));
  switch (spec.start.arrangement) {
    case Arrangement::kRandom:
      RandomPositions(spec, give_up, out);
      break;
    case Arrangement::kTriangular:
    case Arrangement::kSquare:
      LatticePositions(spec, out);
      break;
    case Arrangement::kGiven:
      GivenPositions(spec, out);
      out.spinner = spec.start.given_spinner;
      return out;
    case Arrangement::kSaved:
      break;
  }
  if (!IsGivenUp(give_up)) out.spinner = SpinnersOf(spec, out);
  return out;
}

std::vector<std::uint32_t> SpinnerIds(const StartState& start) {
  std::vector<std::uint32_t> ids;
  for (std::uint32_t id = 0; id < start.spinner.size(); ++id) {
    if (start.spinner[id] != 0) ids.push_back(id);
  }
  return ids;
}

std::vector<std::shared_ptr<const StartState>> GenerateInitialStates(std::span<const RunSpec> specs,
                                                                     const std::atomic<bool>& give_up) {
  std::vector<std::shared_ptr<const StartState>> starts(specs.size());
  tbb::parallel_for(std::size_t{0}, specs.size(), [&](std::size_t i) {
    if (give_up || !Validate(specs[i]).empty()) return;
    starts[i] = std::make_shared<const StartState>(GenerateInitialState(specs[i], &give_up));
  });
  return starts;
}

}  // namespace gyrebox::kernels
