/// Clusters of beads of one kind, by union-find: every bead has a link to another one of its cluster, and finally to
/// the first one, its root.
///
/// A link also records the periodic image of the other end, in sides, along the bonds that made it. A bond whose ends
/// have the same root but in different images closes a loop round the bed: the cluster wraps.
#pragma once

#include "cuda/measure_memory.h"
#include "cuda/measure_pairs.h"
#include "cuda/measured.h"

namespace gyrebox::kernels::cuda {

/// Link to a bead of the same cluster. With x_i the position of bead i in the domain and S a side, the bonds lead to
/// the image of i at x_i + S (x + the same of the other bead). Exact up to 32767 sides.
struct Link {
  std::uint32_t to = 0;
  std::int32_t x = 0, y = 0;  ///< sides

  GYREBOX_HD Link(std::uint32_t to, std::int32_t x, std::int32_t y) : to(to), x(x), y(y) {}
  GYREBOX_HD explicit Link(unsigned long long packed)
      : to(static_cast<std::uint32_t>(packed >> 32)),
        x(static_cast<std::int16_t>(packed >> 16)),
        y(static_cast<std::int16_t>(packed)) {}
  GYREBOX_HD unsigned long long Packed() const {
    return static_cast<unsigned long long>(to) << 32 | static_cast<std::uint32_t>(x & 0xffff) << 16 |
           static_cast<std::uint32_t>(y & 0xffff);
  }
};

/// Path from a bead to another one of its cluster, and its last step.
struct LinkWalk {
  Link way;
  std::uint32_t last;  ///< bead at which the last step starts
  Link step;

  GYREBOX_HD LinkWalk(std::uint32_t from, const Link& link) : way(link), last(from), step(link) {}
  GYREBOX_HD void Go(const Link& on) {
    last = way.to;
    step = on;
    way = Link(on.to, way.x + on.x, way.y + on.y);
  }
};

/// Links that many threads read and change concurrently. A stale link still leads to the same cluster. Only linking a
/// root to another bead requires certainty that it is a root, and the compare-and-swap that does so checks this.
template <class Team>
class Links {
 public:
  GYREBOX_PASS Links(Team& team, unsigned long long* packed) : team_(team), packed_(packed) {}

  GYREBOX_PASS Link Load(std::uint32_t i) const { return Link(team_.LoadShared(packed_ + i)); }

  /// Path to the root of a bead, stored as its link. To be called once no more clusters are joined.
  GYREBOX_PASS Link Find(std::uint32_t i) {
    Link way = Load(i);
    for (Link on = Load(way.to); on.to != way.to; on = Load(way.to)) way = Link(on.to, way.x + on.x, way.y + on.y);
    team_.StoreShared(packed_ + i, way.Packed());
    return way;
  }

  /// Joins the clusters of two beads by a bond that crosses so many sides from i to j. The lower root stays a root.
  /// @param a path from i to any bead of its cluster; is advanced to the root.
  /// @return whether the bond closes a loop round the bed.
  GYREBOX_PASS bool Join(LinkWalk& a, std::uint32_t j, std::int32_t sides_x, std::int32_t sides_y) {
    LinkWalk b(j, Load(j));
    for (;;) {
      const Link on_a = Load(a.way.to), on_b = Load(b.way.to);
      const bool further_a = Follow(on_a, a), further_b = Follow(on_b, b);
      if (further_a || further_b) continue;
      for (;;) {
        // Sides from the root of i to that of j.
        const std::int32_t x = a.way.x - b.way.x + sides_x, y = a.way.y - b.way.y + sides_y;
        if (a.way.to == b.way.to) return x != 0 || y != 0;
        const bool keep_a = a.way.to < b.way.to;
        const std::uint32_t root = keep_a ? a.way.to : b.way.to, other = keep_a ? b.way.to : a.way.to;
        const unsigned long long as_root = Link(other, 0, 0).Packed();
        const unsigned long long link = Link(root, keep_a ? x : -x, keep_a ? y : -y).Packed();
        const unsigned long long before = team_.FetchCompareSwap(packed_ + other, as_root, link);
        if (before == as_root) return false;
        if (keep_a) {  // `other` is no longer a root
          b.Go(Link(before));
        } else {
          a.Go(Link(before));
        }
      }
    }
  }

 private:
  // Union-find step with path halving: follows the link of the bead that a walk has reached. @return whether there was
  // a link.
  GYREBOX_PASS bool Follow(const Link& on, LinkWalk& walk) {
    if (on.to == walk.way.to) return false;
    if (walk.last != walk.way.to) {
      team_.StoreShared(packed_ + walk.last, Link(on.to, walk.step.x + on.x, walk.step.y + on.y).Packed());
    }
    walk.Go(on);
    return true;
  }

  Team& team_;
  unsigned long long* packed_;
};

/// Sides that the nearest-image vector from one position to another crosses: 1 if it leaves through the upper face, -1
/// through the lower one, else 0.
GYREBOX_HD std::int32_t Crossings(std::uint32_t from, std::uint32_t to) {
  const std::int64_t plain = static_cast<std::int64_t>(to) - static_cast<std::int64_t>(from);
  return static_cast<std::int32_t>((AsSigned(to - from) - plain) >> 32);
}

/// Positions in a cluster are integer multiples of 2^-bits sigma relative to its root: as fine as sums of their squares
/// in 64 bits allow. At most 2^-27 of its extent for two beads, 2^-18 for a million.
GYREBOX_HD int PositionBits(std::uint32_t size, std::uint32_t extent) {
  return (61 - BitWidth(size)) / 2 - BitWidth(extent);  // size 2 extent^2 4^bits < 2^63
}

/// Finds the clusters of a bed and sums over them.
template <class Team, class Index>
class ClusterPass {
 public:
  GYREBOX_PASS ClusterPass(Team& team, const BedView<Index>& bed, const MeasureMemory& memory, bool whole)
      : team_(team), bed_(bed), n_(bed.plan.n), memory_(memory), links_(team, memory.links), whole_(whole) {}

  GYREBOX_PASS void Run(MeasuredSums& out) {
    Clear();
    Join();
    Count();
    AddPositions();
    AddClusters(true, out.spinners);
    if (whole_) AddClusters(false, out.passive);
    team_.Sync();
  }

 private:
  static constexpr std::uint32_t kWraps = ~0u;  // marks an extent

  GYREBOX_PASS void Clear() {
    for (std::uint32_t i = team_.rank(); i < n_; i += team_.size()) {
      memory_.links[i] = Link(i, 0, 0).Packed();
      memory_.sum_x[i] = memory_.sum_y[i] = memory_.sum_squares[i] = 0;
      memory_.size[i] = memory_.extent[i] = 0;
    }
    team_.Sync();
  }

  GYREBOX_PASS bool Counts(std::uint32_t i) const { return whole_ || IsSpinner(bed_.tag[i]); }

  GYREBOX_PASS void Join() {
    const PositionVelocity* now = bed_.Now(bed_.beads);
    for (std::uint32_t i = team_.rank(); i < n_; i += team_.size()) {
      if (!Counts(i)) continue;
      const PositionVelocity own = now[i];
      const bool spinner = IsSpinner(bed_.tag[i]);
      const std::uint32_t count = bed_.plan.memory.counts[i];
      LinkWalk walk(i, Link(i, 0, 0));
      bool wraps = false;
      // Finds the bonded partners first, with many reads in flight, then processes one bond after another.
      for (std::uint32_t begin = 0; begin < count; begin += 32) {
        std::uint32_t bonds = 0;
#pragma unroll 4
        for (std::uint32_t k = 0; k < Min32(32, count - begin); ++k) {
          const std::uint32_t j = PartnerOf(bed_, begin + k, i);
          if (j < i && IsSpinner(bed_.tag[j]) == spinner)
            bonds |= static_cast<std::uint32_t>(HaveBond(own, now[j])) << k;
        }
        for (; bonds != 0; bonds &= bonds - 1) {
          const auto k = static_cast<std::uint32_t>(BitWidth(bonds ^ (bonds - 1)) - 1);
          const std::uint32_t j = PartnerOf(bed_, begin + k, i);
          wraps |= links_.Join(walk, j, Crossings(own.x, now[j].x), Crossings(own.y, now[j].y));
        }
      }
      if (wraps) memory_.extent[i] = kWraps;
    }
    team_.Sync();
  }
  GYREBOX_PASS static std::uint32_t Min32(std::uint32_t a, std::uint32_t b) { return a < b ? a : b; }
  GYREBOX_PASS bool HaveBond(const PositionVelocity& a, const PositionVelocity& b) const {
    const BedPlan& plan = bed_.plan;
    const Way way = WayBetween(a.x, a.y, b.x, b.y, plan.side_x * 0x1p-32, plan.side_y * 0x1p-32);
    return way.squared <= plan.bond_length * plan.bond_length;
  }

  // Position of a bead relative to the root of its cluster, sigma.
  struct Offset {
    double x, y;
  };
  GYREBOX_PASS Offset OffsetOf(std::uint32_t i, const Link& way) const {
    constexpr std::int64_t kSide = std::int64_t{1} << 32;
    const PositionVelocity *now = bed_.Now(bed_.beads), own = now[i], root = now[way.to];
    const std::int64_t x = way.x * kSide + own.x - root.x, y = way.y * kSide + own.y - root.y;
    return {static_cast<double>(x) * (bed_.plan.side_x * 0x1p-32),
            static_cast<double>(y) * (bed_.plan.side_y * 0x1p-32)};
  }

  // Computes sizes and extents.
  GYREBOX_PASS void Count() {
    ForBeads([&](std::uint32_t i, bool counts) {
      Link way(0, 0, 0);
      if (counts) {
        way = links_.Find(i);
        const Offset at = OffsetOf(i, way);
        const double largest = Max(Max(at.x, -at.x), Max(at.y, -at.y));
        const std::uint32_t extent =
            team_.LoadShared(&memory_.extent[i]) == kWraps ? kWraps : static_cast<std::uint32_t>(Min(largest, 4e9)) + 1;
        if (team_.LoadShared(&memory_.extent[way.to]) < extent) team_.FetchMax(&memory_.extent[way.to], extent);
      }
      team_.template AddByKey<1>(counts, way.to, {memory_.size}, {1u});
    });
  }

  GYREBOX_PASS void AddPositions() {
    ForBeads([&](std::uint32_t i, bool counts) {
      Link way(0, 0, 0);
      unsigned long long sums[3] = {};
      if (counts) {
        way = links_.Load(i);
        const std::uint32_t size = memory_.size[way.to], extent = memory_.extent[way.to];
        counts = size > 1 && extent != kWraps;
        if (counts) {
          const double scale = PowerOfTwo(PositionBits(size, extent), 0.0);
          const Offset at = OffsetOf(i, way);
          const auto x = static_cast<long long>(rint(at.x * scale)), y = static_cast<long long>(rint(at.y * scale));
          sums[0] = static_cast<unsigned long long>(x);
          sums[1] = static_cast<unsigned long long>(y);
          sums[2] = static_cast<unsigned long long>(x * x + y * y);
        }
      }
      team_.template AddByKey<3>(counts, way.to, {memory_.sum_x, memory_.sum_y, memory_.sum_squares}, sums);
    });
  }

  // Root mean square distance to the centre, sigma.
  GYREBOX_PASS double RadiusOf(std::uint32_t root) const {
    const double size = memory_.size[root];
    const auto x = static_cast<double>(static_cast<long long>(memory_.sum_x[root])) / size;
    const auto y = static_cast<double>(static_cast<long long>(memory_.sum_y[root])) / size;
    const double square = static_cast<double>(memory_.sum_squares[root]) / size - x * x - y * y;
    return Sqrt(Max(square, 0.0)) * PowerOfTwo(-PositionBits(memory_.size[root], memory_.extent[root]), 0.0);
  }

  GYREBOX_PASS void AddClusters(bool spinners, ClusterSums& out) {
    // Most clusters are small. Each thread counts their classes itself, because atomic adds of all clusters to one
    // number would serialise.
    constexpr int kOwnClasses = 3;
    unsigned long long own[kOwnClasses] = {};
    ClusterSums sums;
    for (std::uint32_t i = team_.rank(); i < n_; i += team_.size()) {
      if (IsSpinner(bed_.tag[i]) != spinners || links_.Load(i).to != i) continue;
      const std::uint32_t size = memory_.size[i];
      const bool wraps = memory_.extent[i] == kWraps;
      sums.AddSize(size, wraps, wraps || size < 2 ? 0 : RadiusOf(i));
      const int size_class = ClusterSums::ClassOf(size);
      for (int c = 0; c < kOwnClasses; ++c) own[c] += size_class == c ? 1 : 0;
      if (size_class >= kOwnClasses) team_.FetchAdd(&out.histogram[size_class], 1ull);
    }
    for (int c = 0; c < kOwnClasses; ++c) team_.AddAll(&out.histogram[c], own[c]);
    team_.AddAll(&out.count, sums.count);
    team_.AddAll(&out.wrapping, sums.wrapping);
    team_.AddAll(&out.beads, sums.beads);
    team_.AddAll(&out.squares, sums.squares);
    team_.AddAll(&out.spread_count, sums.spread_count);
    team_.AddAll(&out.spread_beads, sums.spread_beads);
    team_.AddAll(&out.spread_squares, sums.spread_squares);
    team_.AddAll(&out.radius_quanta, sums.radius_quanta);
    team_.AddAll(&out.radius_beads, sums.radius_beads);
    const std::uint32_t largest = team_.Largest(static_cast<std::uint32_t>(sums.largest));
    if (team_.rank() == 0) out.largest = largest;
  }

  // Calls visit(i, whether the bead counts) equally often in all threads, then synchronises.
  template <class Visit>
  GYREBOX_PASS void ForBeads(const Visit& visit) {
    const std::uint32_t rounds = (n_ + team_.size() - 1) / team_.size();
    for (std::uint32_t round = 0; round < rounds; ++round) {
      const std::uint32_t i = round * team_.size() + team_.rank();
      visit(i, i < n_ && Counts(i));
    }
    team_.Sync();
  }

  Team& team_;
  const BedView<Index>& bed_;
  const std::uint32_t n_;
  const MeasureMemory& memory_;
  Links<Team> links_;
  const bool whole_;
};

}  // namespace gyrebox::kernels::cuda
