/// One disc's part of the union of equal discs.
///
/// Each disc owns the part of the union that is nearer to its centre than to any other. Exposed arcs of the disc's own
/// circle and segments of the chords that it shares with its neighbours bound this part. Seen from the centre it is a
/// sum of sectors and triangles. The Euler characteristic follows from the total turning of the boundary of the union,
/// 2 pi for each piece and -2 pi for each hole: arcs turn by their angles, corners turn back.
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

/// Segment of a chord that remains after the parts nearer to other neighbours are cut off.
struct ChordLeft {
  double from, to;

  /// @param other_first whether the other neighbour comes first: of two coincident neighbours the first one counts.
  /// @return false if nothing remains.
  GYREBOX_HD bool CutOff(const DiscChord& own, const DiscChord& other, bool other_first) {
    // With t measured along the chord from its middle, the other line crosses it where slope t = room.
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

/// Adds the part of a disc. `chords`: ForChords(visit) calls visit(k, chord) for all chords in any order, and stops
/// where visit returns false.
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
    // An uncut half chord ends in a corner of the boundary; this disc counts half of it and the neighbour the other
    // half.
    const int corners = (left.from == -own.half_length) + (left.to == own.half_length);
    sums.turning += corners * (atan2(own.half_length, own.distance) - kPi / 2);
    return true;
  });
  sums.area += radius * radius * bare / 2;
  sums.boundary += radius * bare;
  sums.turning += bare;
}

}  // namespace gyrebox::kernels
