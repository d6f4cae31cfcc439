#include "measure/clusters/clusters.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <string>

namespace gyrebox::kernels {
namespace {

__extension__ using Wide = __int128;

constexpr std::uint32_t kNone = std::numeric_limits<std::uint32_t>::max();
constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

std::int64_t Gap(std::uint32_t from, std::uint32_t to) { return AsSigned(to - from); }

// Cells as wide as a bond, or wider in a dilute bed: at most about four cells per bead.
CellGrid GridFor(std::size_t n_beads, double side_x, double side_y, double bond_length) {
  const double per_bead = side_x * side_y / std::max<double>(1, static_cast<double>(n_beads));
  return CellGrid(side_x, side_y, std::max(bond_length, std::sqrt(per_bead) / 2));
}

// The sum of squared distances of s numbers to their centre is (s sum x^2 - (sum x)^2) / s: exact in integers, and
// independent of the bead from which the offsets are counted.
struct AxisSums {
  Wide first = 0, second = 0;
  void Add(std::int64_t offset) {
    first += offset;
    second += static_cast<Wide>(offset) * offset;
  }
  double MeanSquare(std::int64_t size, double quantum) const {
    const double s = static_cast<double>(size);
    return static_cast<double>(size * second - first * first) / (s * s) * quantum * quantum;
  }
};

}  // namespace

// Bonds between beads within the bond length.
class ClusterFinder::BondsByDistance {
 public:
  BondsByDistance(const ClusterFinder& finder, const CellGrid& grid, double side_x, double side_y, double bond_length)
      : f_(finder),
        grid_(grid),
        quantum_x_(side_x * 0x1p-32),
        quantum_y_(side_y * 0x1p-32),
        bond_squared_(bond_length * bond_length) {}

  // Calls visit(to, gap_x, gap_y) for each bond of a bead.
  template <class Visit>
  void Of(std::uint32_t from, Visit visit) const {
    const FixedPosition own = f_.positions_[from];
    grid_.ForCellsAround(grid_.Column(own.x), grid_.Row(own.y), [&](int first_cell, int last_cell) {
      const std::uint32_t end = f_.cells_.start[static_cast<std::size_t>(last_cell) + 1];
      for (std::uint32_t to = f_.cells_.start[static_cast<std::size_t>(first_cell)]; to < end; ++to) {
        const std::int64_t gap_x = Gap(own.x, f_.positions_[to].x), gap_y = Gap(own.y, f_.positions_[to].y);
        const double dx = static_cast<double>(gap_x) * quantum_x_, dy = static_cast<double>(gap_y) * quantum_y_;
        if (to != from && dx * dx + dy * dy <= bond_squared_) visit(to, gap_x, gap_y);
      }
    });
  }

 private:
  const ClusterFinder& f_;
  const CellGrid& grid_;
  const double quantum_x_, quantum_y_, bond_squared_;
};

class ClusterFinder::BondsGiven {
 public:
  explicit BondsGiven(const ClusterFinder& finder) : f_(finder) {}

  template <class Visit>
  void Of(std::uint32_t from, Visit visit) const {
    const FixedPosition own = f_.positions_[from];
    for (std::uint32_t k = f_.first_partner_[from]; k < f_.first_partner_[from + 1]; ++k) {
      const std::uint32_t to = f_.partners_[k];
      visit(to, Gap(own.x, f_.positions_[to].x), Gap(own.y, f_.positions_[to].y));
    }
  }

 private:
  const ClusterFinder& f_;
};

// Breadth-first search of one cluster, along bonds from its first bead.
template <class Bonds>
class ClusterFinder::Walk {
 public:
  Walk(ClusterFinder& finder, const Bonds& bonds, double side_x, double side_y)
      : f_(finder), bonds_(bonds), quantum_x_(side_x * 0x1p-32), quantum_y_(side_y * 0x1p-32) {}

  Cluster From(std::uint32_t first) {
    cluster_ = {};
    winding_ = {};
    f_.queue_.clear();
    Take(first, {0, 0});
    for (std::size_t head = 0; head < f_.queue_.size(); ++head) FollowBonds(f_.queue_[head]);
    cluster_.size = static_cast<std::int64_t>(f_.queue_.size());
    cluster_.radius_of_gyration = cluster_.wrap_directions > 0 ? kNan : Radius();
    return cluster_;
  }

 private:
  void Take(std::uint32_t bead, Offset offset) {
    f_.cluster_of_rank_[bead] = static_cast<std::uint32_t>(f_.clusters_.size());
    f_.offsets_[bead] = offset;
    f_.queue_.push_back(bead);
  }

  void FollowBonds(std::uint32_t from) {
    bonds_.Of(from, [&](std::uint32_t to, std::int64_t gap_x, std::int64_t gap_y) {
      const Offset reached = {f_.offsets_[from].x + gap_x, f_.offsets_[from].y + gap_y};
      if (f_.cluster_of_rank_[to] == kNone) {
        Take(to, reached);
      } else {
        Close({reached.x - f_.offsets_[to].x, reached.y - f_.offsets_[to].y});
      }
    });
  }

  // A bond between two beads already in the cluster closes a loop; its net offset is a whole number of sides.
  void Close(Offset loop) {
    if (loop.x == 0 && loop.y == 0) return;
    cluster_.wraps_x |= loop.x != 0;
    cluster_.wraps_y |= loop.y != 0;
    if (cluster_.wrap_directions == 0) {
      cluster_.wrap_directions = 1;
      winding_ = loop;
    } else if (static_cast<Wide>(winding_.x) * loop.y != static_cast<Wide>(winding_.y) * loop.x) {
      cluster_.wrap_directions = 2;
    }
  }

  double Radius() const {
    AxisSums x, y;
    for (const std::uint32_t bead : f_.queue_) {
      x.Add(f_.offsets_[bead].x);
      y.Add(f_.offsets_[bead].y);
    }
    return std::sqrt(x.MeanSquare(cluster_.size, quantum_x_) + y.MeanSquare(cluster_.size, quantum_y_));
  }

  ClusterFinder& f_;
  const Bonds& bonds_;
  const double quantum_x_, quantum_y_;
  Cluster cluster_;
  Offset winding_{};  // the first loop that winds round the bed
};

std::span<const Cluster> ClusterFinder::Find(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y,
                                             double side_x, double side_y, double bond_length) {
  const CellGrid grid = GridFor(x.size(), side_x, side_y, bond_length);
  SortIntoCells(grid, x, y, cells_);
  TakePositions(x, y);
  WalkAll(BondsByDistance(*this, grid, side_x, side_y, bond_length), side_x, side_y);
  return clusters_;
}

std::span<const Cluster> ClusterFinder::Find(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y,
                                             double side_x, double side_y, std::span<const Bond> bonds) {
  cells_.order.resize(x.size());
  std::iota(cells_.order.begin(), cells_.order.end(), 0u);
  TakePositions(x, y);
  ListPartners(bonds);
  WalkAll(BondsGiven(*this), side_x, side_y);
  return clusters_;
}

void ClusterFinder::TakePositions(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y) {
  positions_.resize(x.size());
  for (std::size_t rank = 0; rank < x.size(); ++rank) {
    positions_[rank] = {x[cells_.order[rank]], y[cells_.order[rank]]};
  }
  offsets_.resize(x.size());
  labels_.resize(x.size());
  cluster_of_rank_.assign(x.size(), kNone);
}

void ClusterFinder::ListPartners(std::span<const Bond> bonds) {
  first_partner_.assign(positions_.size() + 1, 0);
  for (const Bond& bond : bonds) ++first_partner_[bond.a], ++first_partner_[bond.b];
  std::partial_sum(first_partner_.begin(), first_partner_.end(), first_partner_.begin());
  partners_.resize(2 * bonds.size());
  for (const Bond& bond : bonds) {  // fills each list from its end
    partners_[--first_partner_[bond.a]] = bond.b;
    partners_[--first_partner_[bond.b]] = bond.a;
  }
}

template <class Bonds>
void ClusterFinder::WalkAll(const Bonds& bonds, double side_x, double side_y) {
  clusters_.clear();
  Walk<Bonds> walk(*this, bonds, side_x, side_y);
  for (std::uint32_t rank = 0; rank < positions_.size(); ++rank) {
    if (cluster_of_rank_[rank] == kNone) clusters_.push_back(walk.From(rank));
    labels_[cells_.order[rank]] = cluster_of_rank_[rank];
  }
}

ClusterSummary Summarize(std::span<const Cluster> clusters) {
  ClusterSums sums;
  for (const Cluster& cluster : clusters) {
    const auto size = static_cast<std::uint64_t>(cluster.size);
    sums.AddSize(size, cluster.wrap_directions > 0, cluster.radius_of_gyration);
    ++sums.histogram[ClusterSums::ClassOf(size)];
  }
  return Summarize(sums);
}

ClusterSummary Summarize(const ClusterSums& sums) {
  const auto ratio = [](std::uint64_t a, std::uint64_t b) {
    return b == 0 ? kNan : static_cast<double>(a) / static_cast<double>(b);
  };
  ClusterSummary out;
  out.number_average_size = ratio(sums.beads, sums.count);
  out.weight_average_size = ratio(sums.squares, sums.beads);
  out.largest_size = static_cast<std::int64_t>(sums.largest);
  out.count = static_cast<std::int64_t>(sums.count);
  out.wrapping_count = static_cast<std::int64_t>(sums.wrapping);
  const Wide spread_beads = sums.spread_beads;
  const Wide variance = static_cast<Wide>(sums.spread_count) * sums.spread_squares - spread_beads * spread_beads;
  out.size_spread = sums.spread_count == 0
                        ? kNan  // `variance` carries a factor of the count squared
                        : std::sqrt(static_cast<double>(variance)) / static_cast<double>(sums.spread_beads);
  out.radius_of_gyration = ratio(sums.radius_quanta, sums.radius_beads) * kRadiusQuantum;
  std::copy_n(sums.histogram, kSizeClasses, out.size_histogram.begin());
  return out;
}

std::vector<Column> ClusterColumns() {
  return {
      {"spinner_number_average_size", "beads", "Mean size of the spinner clusters, each cluster counting once.", 1},
      {"spinner_weight_average_size", "beads",
       "Mean over spinners of the size of the cluster they are in, single and wrapping clusters included.", 1},
      {"spinner_largest_size", "beads", "Size of the largest spinner cluster.", 1},
      {"spinner_cluster_count", "", "Number of spinner clusters, single spinners included.", 1},
      {"spinner_wrapping_count", "", "Number of spinner clusters that close on themselves round the periodic bed.", 1},
      {"polydispersity", "", "Standard deviation over mean of the sizes of the spinner clusters of 5 or more beads.",
       1},
      {"spinner_radius_of_gyration", "sigma",
       "Mean over spinners in clusters of 2 or more that do not wrap of the cluster's root mean square distance to its "
       "centre.",
       1},
      {"spinner_size_histogram", "",
       "Number of spinner clusters of 1, 2 to 3, 4 to 7, and so on to " + std::to_string(1 << (kSizeClasses - 1)) +
           " or more beads.",
       kSizeClasses},
  };
}

void AppendTo(const ClusterSummary& summary, std::vector<double>& values) {
  values.insert(values.end(),
                {summary.number_average_size, summary.weight_average_size, static_cast<double>(summary.largest_size),
                 static_cast<double>(summary.count), static_cast<double>(summary.wrapping_count), summary.size_spread,
                 summary.radius_of_gyration});
  values.insert(values.end(), summary.size_histogram.begin(), summary.size_histogram.end());
}

}  // namespace gyrebox::kernels
