#include "measure/bond_order.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

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

// The last ones are kNone where fewer than six are within reach.
Nearest NearestOf(const NearBeads& near, std::uint32_t rank) {
  Nearest nearest;
  nearest.fill({.r2 = near.reach() * near.reach()});
  near.ForBeadsAround(rank, [&](std::uint32_t other, double dx, double dy, double r2) {
    if (r2 > nearest.back().r2) return;
    const Neighbor neighbor{r2, dx, dy, other};
    if (neighbor < nearest.back()) Insert(nearest, neighbor);
  });
  return nearest;
}

Sixfold Psi6(const Nearest& nearest) {
  Sixfold sum;
  for (const Neighbor& neighbor : nearest) sum.Add(neighbor.dx, neighbor.dy, neighbor.r2);
  return sum.Mean();
}

// Visits beads with their nearest neighbours: first those whose neighbours are near, the others once beads are sorted
// into cells twice as wide, and so on.
template <class Visit>
void ForNearest(const Snapshot& snapshot, NearBeads& near, Visit visit) {
  const double area = snapshot.side_x * snapshot.side_y;
  const auto n = static_cast<std::uint32_t>(snapshot.x.size());
  std::vector<std::uint8_t> done(n, 0);
  std::uint32_t left = n;
  // Eight beads lie within the first reach on average.
  for (double reach = 1.6 * std::sqrt(area / n); left > 0; reach *= 2) {
    near.Sort(snapshot.x, snapshot.y, snapshot.side_x, snapshot.side_y, reach);
    for (std::uint32_t rank = 0; rank < n; ++rank) {
      if (done[near.id(rank)] != 0) continue;
      const Nearest nearest = NearestOf(near, rank);
      if (nearest.back().rank == kNone) continue;
      visit(near.id(rank), nearest);
      done[near.id(rank)] = 1;
      --left;
    }
  }
}

}  // namespace

BondOrder MeasureBondOrder(const Snapshot& snapshot, NearBeads& scratch, std::vector<std::complex<double>>* by_bead) {
  OrderSums sums;
  if (snapshot.x.size() <= kNearest) return BondOrderOf(sums, snapshot.x.size(), 0);
  if (by_bead != nullptr) by_bead->resize(snapshot.x.size());
  std::size_t spinners = 0;
  ForNearest(snapshot, scratch, [&](std::uint32_t id, const Nearest& nearest) {
    const Sixfold psi = Psi6(nearest);
    sums.moduli += psi.Modulus();
    sums.psi.real += psi.real;
    sums.psi.imaginary += psi.imaginary;
    if (by_bead != nullptr) (*by_bead)[id] = {psi.real, psi.imaginary};
    if (snapshot.spinner[id] == 0) return;
    ++spinners;
    for (const Neighbor& neighbor : nearest) sums.like += snapshot.spinner[scratch.id(neighbor.rank)];
  });
  return BondOrderOf(sums, snapshot.x.size(), spinners);
}

BondOrder BondOrderOf(const OrderSums& sums, std::size_t n_beads, std::size_t n_spinners) {
  constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
  if (n_beads <= kNearest) return {kNan, kNan, kNan};
  const auto n = static_cast<double>(n_beads);
  const double like_share =
      n_spinners == 0 ? kNan : static_cast<double>(sums.like) / static_cast<double>(kNearest * n_spinners);
  return {sums.moduli / n, sums.psi.Modulus() / n, like_share};
}

std::vector<Column> BondOrderColumns() {
  return {
      {"bond_order_local", "",
       "Sixfold order around single beads: mean over all beads of |psi6|, psi6 the mean of exp(6 i angle) over the "
       "directions to the six nearest beads.",
       1},
      {"bond_order_global", "", "Sixfold order throughout the bed: |mean of psi6 over all beads|.", 1},
      {"share_of_like_neighbors", "", "Share of spinners among the six nearest beads of a spinner, mean over spinners.",
       1},
  };
}

void AppendTo(const BondOrder& order, std::vector<double>& values) {
  values.insert(values.end(), {order.local, order.global, order.like_share});
}

}  // namespace gyrebox::kernels
