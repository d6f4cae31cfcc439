#include "start/separate.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_reduce.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <vector>

#include "model/fixed_point.h"
#include "neighbors/cells.h"

namespace gyrebox::kernels {
namespace {

// Area fraction up to which beads relax as soft discs of diameter 1. In denser beds the discs shrink to this fraction,
// below that at which random discs jam (about 0.84).
constexpr double kRoomyFraction = 0.80;
// Where there is room, separation continues beyond the requested closest pair up to this fraction of the diameter, for
// a gentle first step.
constexpr double kGentle = 0.97;
constexpr int kMaxSweeps = 20000;
constexpr int kGentleSweeps = 2000;
constexpr double kMargin = 0.3;                 // of the partner lists, sigma
constexpr double kWeight = 0.4;                 // fraction of an overlap that a bead yields per sweep
constexpr std::size_t kBeadsOfBlock = 1 << 13;  // a few milliseconds of work

using Block = tbb::blocked_range<std::size_t>;

class Separator {
 public:
  Separator(double side_x, double side_y, std::span<std::uint32_t> x, std::span<std::uint32_t> y,
            const std::atomic<bool>* give_up)
      : axis_x_(side_x),
        axis_y_(side_y),
        side_x_(side_x),
        side_y_(side_y),
        x_(x),
        y_(y),
        moves_(2 * x.size()),
        give_up_(give_up) {
    const double fraction = static_cast<double>(x.size()) * std::numbers::pi / 4 / (side_x * side_y);
    diameter_ = std::min(1.0, std::sqrt(kRoomyFraction / fraction));
  }

  double diameter() const { return diameter_; }
  bool given_up() const { return give_up_ != nullptr && *give_up_; }

  // One sweep. Returns the closest pair before it, or the diameter if none is closer.
  double Sweep() {
    if (drift_ > kMargin / 2 || starts_.empty()) List();
    // Minimum and maximum do not depend on the number of threads or the order of blocks.
    const double closest = tbb::parallel_reduce(
        Block(0, x_.size(), kBeadsOfBlock), diameter_,
        [this](const Block& block, double least) {
          for (std::size_t i = block.begin(); i < block.end() && !given_up(); ++i) least = std::min(least, MoveOf(i));
          return least;
        },
        [](double a, double b) { return std::min(a, b); });
    drift_ += tbb::parallel_reduce(
        Block(0, x_.size(), kBeadsOfBlock), 0.0,
        [this](const Block& block, double largest) {
          for (std::size_t i = block.begin(); i < block.end(); ++i) largest = std::max(largest, Move(i));
          return largest;
        },
        [](double a, double b) { return std::max(a, b); });
    return closest;
  }

 private:
  double MoveOf(std::size_t i) {
    double closest = diameter_, mx = 0, my = 0;
    for (std::uint32_t k = starts_[i]; k < starts_[i + 1]; ++k) {
      const std::uint32_t j = partners_[k];
      double dx = Difference(x_[i], x_[j], axis_x_.length_of_quantum);
      double dy = Difference(y_[i], y_[j], axis_y_.length_of_quantum);
      double r = std::hypot(dx, dy);
      if (r >= diameter_) continue;
      closest = std::min(closest, r);
      if (r < 1e-6) {  // coincident: separate along x, the smaller id to the left
        dx = i < j ? 1 : -1, dy = 0, r = 1;
        mx -= kWeight * dx * diameter_;
        continue;
      }
      const double push = kWeight * (diameter_ - r) / r;
      mx -= push * dx;
      my -= push * dy;
    }
    // A crowded bead may be pushed from all sides at once; limit its move to a fifth of a diameter.
    const double length = std::hypot(mx, my), limit = 0.2;
    const double scale = length > limit ? limit / length : 1;
    moves_[2 * i] = scale * mx;
    moves_[2 * i + 1] = scale * my;
    return closest;
  }

  // Returns the length of the move.
  double Move(std::size_t i) {
    const double mx = moves_[2 * i], my = moves_[2 * i + 1];
    x_[i] += AsUnsigned(RoundToInt(mx * axis_x_.quanta_of_length));
    y_[i] += AsUnsigned(RoundToInt(my * axis_y_.quanta_of_length));
    return std::hypot(mx, my);
  }

  void List() {
    const double reach = diameter_ + kMargin;
    const CellGrid grid(side_x_, side_y_, reach);
    SortIntoCells(grid, x_, y_, cells_);
    partners_.clear();
    starts_.assign(1, 0);
    for (std::uint32_t i = 0; i < x_.size() && !given_up(); ++i) {
      grid.ForCellsAround(grid.Column(x_[i]), grid.Row(y_[i]), [&](int from, int to) {
        for (std::uint32_t k = cells_.start[from]; k < cells_.start[to + 1]; ++k) {
          const std::uint32_t j = cells_.order[k];
          const double dx = Difference(x_[i], x_[j], axis_x_.length_of_quantum);
          const double dy = Difference(y_[i], y_[j], axis_y_.length_of_quantum);
          if (j != i && dx * dx + dy * dy < reach * reach) partners_.push_back(j);
        }
      });
      starts_.push_back(static_cast<std::uint32_t>(partners_.size()));
    }
    drift_ = 0;
  }

  FixedAxis<double> axis_x_, axis_y_;
  double side_x_, side_y_, diameter_ = 1, drift_ = 0;
  std::span<std::uint32_t> x_, y_;
  std::vector<double> moves_;
  const std::atomic<bool>* const give_up_;
  std::vector<std::uint32_t> starts_, partners_;
  CellOrder cells_;
};

}  // namespace

std::string Separate(double side_x, double side_y, double closest_pair, std::span<std::uint32_t> x,
                     std::span<std::uint32_t> y, const std::atomic<bool>* give_up) {
  Separator separator(side_x, side_y, x, y, give_up);
  const double enough = std::min(closest_pair, separator.diameter());
  const double gentle = std::max(enough, kGentle * separator.diameter());
  double closest = 0;
  for (int sweep = 0; sweep < kMaxSweeps; ++sweep) {
    closest = separator.Sweep();
    if (separator.given_up()) return "given up";
    if (closest >= (sweep < kGentleSweeps ? gentle : enough)) break;
  }
  if (closest >= closest_pair) return {};
  char text[160];
  std::snprintf(
      text, sizeof(text),
      "a random start at this packing reached a closest pair of %.4f sigma, not the %.4f asked; ask for less, "
      "or take a lattice start",
      closest, closest_pair);
  return text;
}

}  // namespace gyrebox::kernels
