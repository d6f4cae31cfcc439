#include "measure/pairs/bond_order.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <iterator>
#include <limits>

#include "measure/blocks.h"

namespace gyrebox::kernels {
namespace {

constexpr std::uint32_t kNone = std::numeric_limits<std::uint32_t>::max();

struct Neighbor {
  double r2 = 0, dx = 0, dy = 0;
  std::uint32_t rank = kNone;

  bool operator<(const Neighbor& other) const { return IsNearer(*this, other); }
};
using Nearest = std::array<Neighbor, kNearest>;  // nearest first

void Insert(Nearest& nearest, const Neighbor& neighbor) {
  int at = kNearest - 1;
  for (; at > 0 && neighbor < nearest[at - 1]; --at) nearest[at] = nearest[at - 1];
  nearest[at] = neighbor;
}

// The last ones are kNone if fewer than six beads are within reach.
Nearest FindNearest(const CellList& near, std::uint32_t rank) {
  Nearest nearest;
  nearest.fill({.r2 = near.reach() * near.reach()});
  near.ForBeadsAround(rank, [&](std::uint32_t other, double dx, double dy, double r2) {
    if (r2 > nearest.back().r2) return;
    const Neighbor neighbor{r2, dx, dy, other};
    if (neighbor < nearest.back()) Insert(nearest, neighbor);
  });
  return nearest;
}

// Finds the nearest neighbours in a disordered bed without unpredictable branches: records all beads within reach, and
// inserts their distances into a sorted list of seven by min-max exchanges.
class NearestByLadder {
 public:
  // False if two of them are equally far up to the last bits, or if too few or too many beads are within reach.
  bool Find(const CellList& near, std::uint32_t rank, Nearest& nearest) {
    if (!WriteDown(near, rank)) return false;
    double ladder[kNearest + 1];
    std::fill(std::begin(ladder), std::end(ladder), std::numeric_limits<double>::max());
    for (int i = 0; i < count_; ++i) {
      double key = KeyOf(i);
      for (double& rung : ladder) {
        const double longer = Max(rung, key);
        rung = Min(rung, key);
        key = longer;
      }
    }
    bool alike = false;
    for (int k = 0; k < kNearest; ++k) {
      const auto bits = std::bit_cast<std::uint64_t>(ladder[k]), next = std::bit_cast<std::uint64_t>(ladder[k + 1]);
      alike |= bits / kCapacity == next / kCapacity;
      nearest[static_cast<std::size_t>(k)] = within_[bits % kCapacity];
    }
    return !alike;
  }

 private:
  static constexpr std::uint64_t kCapacity = 64;

  bool WriteDown(const CellList& near, std::uint32_t rank) {
    const double reach_squared = near.reach() * near.reach();
    count_ = 0;
    near.ForBeadsAround(rank, [&](std::uint32_t other, double dx, double dy, double r2) {
      within_[static_cast<std::uint64_t>(count_) % kCapacity] = {r2, dx, dy, other};
      count_ += static_cast<int>(r2 < reach_squared);
    });
    return count_ >= kNearest && count_ < static_cast<int>(kCapacity);
  }
  // A squared distance with the bead's index in its last bits. Positive doubles order like their bits.
  double KeyOf(int i) const {
    const auto bits = std::bit_cast<std::uint64_t>(within_[static_cast<std::size_t>(i)].r2);
    return std::bit_cast<double>(bits / kCapacity * kCapacity + static_cast<std::uint64_t>(i));
  }

  int count_ = 0;
  Neighbor within_[kCapacity];
};

Hexatic Psi6(const Nearest& nearest) {
  Hexatic sum;
  for (const Neighbor& neighbor : nearest) sum.Add(neighbor.dx, neighbor.dy, neighbor.r2);
  return sum.Mean();
}

// Sums over the beads whose nearest neighbours are within reach, and their number.
struct Part {
  OrderSums sums;
  std::uint32_t beads = 0;
};

// Visits beads with their nearest neighbours: first those whose neighbours are close, then the others after sorting the
// beads into cells twice as wide, and so on. @param look look(sums, id, nearest), called concurrently for different
// beads.
template <class Look>
OrderSums LookAtNearest(const Snapshot& snapshot, CellList& near, const Look& look) {
  const double area = snapshot.side_x * snapshot.side_y;
  const auto n = static_cast<std::uint32_t>(snapshot.x.size());
  std::vector<std::uint8_t> done(n, 0);
  std::uint32_t left = n;
  OrderSums sums;
  // On average nine beads lie within the first reach.
  for (double reach = 1.7 * std::sqrt(area / n); left > 0; reach *= 2) {
    near.Sort(snapshot.x, snapshot.y, snapshot.side_x, snapshot.side_y, reach);
    const auto parts = SumsOfBlocks(n, [&](std::uint32_t first, std::uint32_t last) {
      Part part;
      NearestByLadder ladder;
      Nearest nearest;
      for (std::uint32_t rank = first; rank < last; ++rank) {
        if (done[near.id(rank)] != 0) continue;
        if (!ladder.Find(near, rank, nearest)) nearest = FindNearest(near, rank);
        if (nearest.back().rank == kNone) continue;
        look(part.sums, near.id(rank), nearest);
        done[near.id(rank)] = 1;
        ++part.beads;
      }
      return part;
    });
    for (const Part& part : parts) {
      sums.Add(part.sums);
      left -= part.beads;
    }
  }
  return sums;
}

}  // namespace

BondOrder MeasureBondOrder(const Snapshot& snapshot, CellList& scratch, std::vector<std::complex<double>>* by_bead) {
  if (snapshot.x.size() <= kNearest) return BondOrderOf({}, snapshot.x.size(), 0);
  if (by_bead != nullptr) by_bead->resize(snapshot.x.size());
  const OrderSums sums =
      LookAtNearest(snapshot, scratch, [&](OrderSums& sums, std::uint32_t id, const Nearest& nearest) {
        const Hexatic psi = Psi6(nearest);
        sums.moduli += psi.Modulus();
        sums.psi.real += psi.real;
        sums.psi.imaginary += psi.imaginary;
        if (by_bead != nullptr) (*by_bead)[id] = {psi.real, psi.imaginary};
        if (snapshot.spinner[id] == 0) return;
        for (const Neighbor& neighbor : nearest) sums.like += snapshot.spinner[scratch.id(neighbor.rank)];
      });
  const auto spinners = std::count(snapshot.spinner.begin(), snapshot.spinner.end(), 1);
  return BondOrderOf(sums, snapshot.x.size(), static_cast<std::size_t>(spinners));
}

BondOrder BondOrderOf(const OrderSums& sums, std::size_t n_beads, std::size_t n_spinners) {
  constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
  if (n_beads <= kNearest) return {kNan, kNan, kNan};
  const auto n = static_cast<double>(n_beads);
  const double same_kind_fraction =
      n_spinners == 0 ? kNan : static_cast<double>(sums.like) / static_cast<double>(kNearest * n_spinners);
  return {sums.moduli / n, sums.psi.Modulus() / n, same_kind_fraction};
}

std::vector<Column> BondOrderColumns() {
  return {
      {"bond_order_local", "",
       "Hexatic order around single beads: mean over all beads of |psi6|, psi6 the mean of exp(6 i angle) over the "
       "directions to the six nearest beads.",
       1},
      {"bond_order_global", "", "Hexatic order throughout the bed: |mean of psi6 over all beads|.", 1},
      {"same_kind_fraction_of_neighbors", "",
       "Share of spinners among the six nearest beads of a spinner, mean over spinners.", 1},
  };
}

void AppendTo(const BondOrder& order, std::vector<double>& values) {
  values.insert(values.end(), {order.local, order.global, order.same_kind_fraction});
}

}  // namespace gyrebox::kernels
