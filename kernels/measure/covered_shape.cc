#include "measure/covered_shape.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace gyrebox::kernels {
namespace {

constexpr double kPi = std::numbers::pi;

// Each disc has the part of the union that is nearer to its centre than to any other. This part is bounded by bare arcs
// of the disc's own circle, and by segments of the chords that it shares with its neighbours. Seen from the centre it
// is a sum of sectors and triangles. The Euler characteristic follows from the total turning of the boundary of the
// union, 2 pi for each piece and -2 pi for each hole: arcs turn by their angles, corners turn back.
class DiscPart {
 public:
  explicit DiscPart(double radius) : radius_(radius) {}

  void Clear() { chords_.clear(); }
  /// A neighbour at a distance over 0 and at most two radii.
  void AddNeighbor(double dx, double dy, double distance) {
    const double half = distance / 2;
    chords_.push_back({dx / distance, dy / distance, half, std::sqrt(std::max(0.0, radius_ * radius_ - half * half))});
  }

  double area = 0, boundary = 0, turning = 0;  ///< sums over the discs measured

  void Measure() {
    double bare = 2 * kPi;
    for (std::size_t j = 0; j < chords_.size(); ++j) {
      double from = -chords_[j].half_length, to = chords_[j].half_length;
      if (!Clip(j, from, to)) continue;
      const Chord& chord = chords_[j];
      bare -= std::atan2(to, chord.distance) - std::atan2(from, chord.distance);
      area += chord.distance * (to - from) / 2;
      // A whole half chord ends in a corner of the boundary, of which this disc counts one half and the neighbour one.
      const int corners = (from == -chord.half_length) + (to == chord.half_length);
      turning += corners * (std::atan2(chord.half_length, chord.distance) - kPi / 2);
    }
    area += radius_ * radius_ * bare / 2;
    boundary += radius_ * bare;
    turning += bare;
  }

 private:
  // The chord on the line x u = distance, u the unit vector to the neighbour.
  struct Chord {
    double ux, uy;
    double distance, half_length;
  };

  // Cuts off what is nearer to another neighbour. False where nothing is left.
  bool Clip(std::size_t j, double& from, double& to) const {
    const Chord& own = chords_[j];
    for (std::size_t k = 0; k < chords_.size(); ++k) {
      if (k == j) continue;
      const Chord& other = chords_[k];
      // Along the chord, from its middle, the other line is met where slope t = room.
      const double slope = own.ux * other.uy - own.uy * other.ux;
      const double room = other.distance - own.distance * (own.ux * other.ux + own.uy * other.uy);
      if (slope > 0) {
        to = std::min(to, room / slope);
      } else if (slope < 0) {
        from = std::max(from, room / slope);
      } else if (room < 0 || (room == 0 && k < j)) {  // of two beads at the same place the first one counts
        return false;
      }
      if (from > to) return false;
    }
    return true;
  }

  const double radius_;
  std::vector<Chord> chords_;
};

}  // namespace

CoveredShape MeasureCoveredShape(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, double side_x,
                                 double side_y, double radius, NearBeads& scratch) {
  scratch.Sort(x, y, side_x, side_y, 2 * radius);
  DiscPart part(radius);
  for (std::uint32_t rank = 0; rank < scratch.size(); ++rank) {
    part.Clear();
    bool repeats = false;  // another bead at the same place has counted already
    scratch.ForBeadsAround(rank, [&](std::uint32_t other, double dx, double dy, double r2) {
      if (r2 > 4 * radius * radius) return;
      repeats |= r2 == 0 && other < rank;
      if (r2 > 0) part.AddNeighbor(dx, dy, std::sqrt(r2));
    });
    if (!repeats) part.Measure();
  }
  const double area = side_x * side_y;
  return {part.area / area, std::max(0.0, part.boundary / area), std::llround(part.turning / (2 * kPi))};
}

}  // namespace gyrebox::kernels
