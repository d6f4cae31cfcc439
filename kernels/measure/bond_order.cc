#include "measure/bond_order.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <tuple>

namespace gyrebox::kernels {
namespace {

constexpr int kNeighbors = 6;
constexpr std::uint32_t kNone = std::numeric_limits<std::uint32_t>::max();

struct Neighbor {
  double r2 = 0, dx = 0, dy = 0;
  std::uint32_t rank = kNone;

  // Beads at the same distance, as on a lattice, come in an order that does not depend on their numbers.
  bool operator<(const Neighbor& other) const {
    return r2 != other.r2 ? r2 < other.r2 : std::tie(dx, dy) < std::tie(other.dx, other.dy);
  }
};
using Nearest = std::array<Neighbor, kNeighbors>;  // nearest first

void Insert(Nearest& nearest, const Neighbor& neighbor) {
  int at = kNeighbors - 1;
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

// Mean of exp(6 i angle) as the sixth power of the direction.
std::complex<double> Psi6(const Nearest& nearest) {
  std::complex<double> sum;
  for (const Neighbor& neighbor : nearest) {
    if (neighbor.r2 == 0) continue;  // no direction
    const double x = neighbor.dx, y = neighbor.dy;
    const double x2 = x * x - y * y, y2 = 2 * x * y;          // squared
    const double x3 = x2 * x - y2 * y, y3 = x2 * y + y2 * x;  // cubed
    const double inverse = 1 / (neighbor.r2 * neighbor.r2 * neighbor.r2);
    sum += std::complex((x3 * x3 - y3 * y3) * inverse, 2 * x3 * y3 * inverse);
  }
  return sum / static_cast<double>(kNeighbors);
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
  constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
  if (snapshot.x.size() <= kNeighbors) return {kNan, kNan, kNan};
  if (by_bead != nullptr) by_bead->resize(snapshot.x.size());
  double moduli = 0;
  std::complex<double> sum;
  std::int64_t spinners = 0, like = 0;
  ForNearest(snapshot, scratch, [&](std::uint32_t id, const Nearest& nearest) {
    const std::complex<double> psi = Psi6(nearest);
    moduli += std::sqrt(std::norm(psi));
    sum += psi;
    if (by_bead != nullptr) (*by_bead)[id] = psi;
    if (snapshot.spinner[id] == 0) return;
    ++spinners;
    for (const Neighbor& neighbor : nearest) like += snapshot.spinner[scratch.id(neighbor.rank)];
  });
  const auto n = static_cast<double>(snapshot.x.size());
  const double like_share =
      spinners == 0 ? kNan : static_cast<double>(like) / static_cast<double>(kNeighbors * spinners);
  return {moduli / n, std::sqrt(std::norm(sum)) / n, like_share};
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
