/// One disc's share of the union of equal discs.
///
/// Each disc has the part of the union that is nearer to its centre than to any other. This part is bounded by bare
/// arcs of the disc's own circle, and by segments of the chords that it shares with its neighbours. Seen from the
/// centre it is a sum of sectors and triangles. The Euler characteristic follows from the total turning of the boundary
/// of the union, 2 pi for each piece and -2 pi for each hole: arcs turn by their angles, corners turn back.
#pragma once

#include <cmath>
#include <cstdint>

#include "model/real.h"

namespace gyrebox::kernels {

/// The chord on the line x u = distance, u the unit vector to a neighbour.
struct DiscChord {
  double ux, uy;
  double distance, half_length;

  DiscChord() = default;
  /// A neighbour at a distance over 0 and at most two radii.
  GYREBOX_HD DiscChord(double dx, double dy, double to_neighbor, double radius)
      : ux(dx / to_neighbor),
        uy(dy / to_neighbor),
        distance(to_neighbor / 2),
        half_length(Sqrt(Max(radius * radius - distance * distance, 0.0))) {}
};

/// Sums over discs.
struct DiscSums {
  double area = 0, boundary = 0, turning = 0;  ///< sigma^2, sigma, rad
};

/// What is left of one chord once what is nearer to another neighbour is cut off.
struct ChordLeft {
  double from, to;

  /// @param other_first whether the other neighbour comes first: of two at the same place the first one counts.
  /// @return false where nothing is left.
  GYREBOX_HD bool CutOff(const DiscChord& own, const DiscChord& other, bool other_first) {
    // Along the chord, from its middle, the other line is met where slope t = room.
    const double slope = own.ux * other.uy - own.uy * other.ux;
    const double room = other.distance - own.distance * (own.ux * other.ux + own.uy * other.uy);
    if (slope > 0) {
      to = Min(room / slope, to);
    } else if (slope < 0) {
      from = Max(room / slope, from);
    } else if (room < 0 || (room == 0 && other_first)) {
      return false;
    }
    return !(from > to);
  }
};

/// Adds the part of a disc. `chords`: size(), and visit(k, chord) for chords in an order of their own, through
/// ForChords(visit), which stops where visit returns false.
template <class Chords>
GYREBOX_HD void AddDiscPart(double radius, const Chords& chords, DiscSums& sums) {
  constexpr double kPi = 3.14159265358979323846;
  double bare = 2 * kPi;
  chords.ForChords([&](std::uint32_t j, const DiscChord& own) {
    ChordLeft left{-own.half_length, own.half_length};
    const bool any = chords.ForChords(
        [&](std::uint32_t k, const DiscChord& other) { return k == j || left.CutOff(own, other, k < j); });
    if (!any) return true;
    bare -= atan2(left.to, own.distance) - atan2(left.from, own.distance);
    sums.area += own.distance * (left.to - left.from) / 2;
    // A whole half chord ends in a corner of the boundary, of which this disc counts one half and the neighbour one.
    const int corners = (left.from == -own.half_length) + (left.to == own.half_length);
    sums.turning += corners * (atan2(own.half_length, own.distance) - kPi / 2);
    return true;
  });
  sums.area += radius * radius * bare / 2;
  sums.boundary += radius * bare;
  sums.turning += bare;
}

}  // namespace gyrebox::kernels
