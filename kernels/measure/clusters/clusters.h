/// Clusters of spinners: beads joined by bonds. A bond is a pair no further apart than the bond length, or any pair
/// that the caller gives.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/clusters/cluster_sums.h"
#include "neighbors/cells.h"

namespace gyrebox::kernels {

/// One cluster. A cluster wraps if a path along its bonds leads from a bead to another periodic image of it.
struct Cluster {
  std::int64_t size = 0;          ///< beads
  bool wraps_x = false;           ///< some such path winds along x
  bool wraps_y = false;           ///< some such path winds along y
  int wrap_directions = 0;        ///< independent winding directions: 0, 1 or 2
  double radius_of_gyration = 0;  ///< sigma; root mean square distance to the centre. NaN if it wraps
};

/// A bond between two beads, by index, to the nearest periodic image.
struct Bond {
  std::uint32_t a = 0, b = 0;
};

/// Finds clusters. Reuses its scratch memory between calls.
class ClusterFinder {
 public:
  /// @param x,y (beads) fixed-point positions. @param side_x,side_y in sigma.
  /// @param bond_length in sigma, under half the shorter side: a pair has at most one bond.
  /// @return all clusters, single beads included. Valid until the next call. The set of clusters and all their figures
  /// are bitwise independent of the order of the beads; the order of the clusters is not.
  std::span<const Cluster> Find(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, double side_x,
                                double side_y, double bond_length);

  /// The same for beads joined by these bonds, at most one per pair of beads.
  std::span<const Cluster> Find(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, double side_x,
                                double side_y, std::span<const Bond> bonds);

  /// For each bead of the last call, in input order, the index of its cluster in the result of Find().
  std::span<const std::uint32_t> labels() const { return labels_; }

 private:
  struct FixedPosition {
    std::uint32_t x, y;
  };
  struct Offset {
    std::int64_t x, y;  // unwrapped path from the first bead of the cluster, quanta
  };
  class BondsByDistance;
  class BondsGiven;
  template <class Bonds>
  class Walk;

  void TakePositions(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y);
  void ListPartners(std::span<const Bond> bonds);
  template <class Bonds>
  void WalkAll(const Bonds& bonds, double side_x, double side_y);

  // By rank: beads in the order of their cells, or in input order if the bonds are given.
  CellOrder cells_;
  std::vector<FixedPosition> positions_;
  std::vector<Offset> offsets_;
  std::vector<std::uint32_t> cluster_of_rank_;
  std::vector<std::uint32_t> queue_;
  std::vector<std::uint32_t> labels_;
  std::vector<Cluster> clusters_;
  // Beads bonded to each bead: partners_[first_partner_[rank]] up to those of the next rank.
  std::vector<std::uint32_t> partners_, first_partner_;
};

/// Summary of the clusters of a bed. Includes single beads and wrapping clusters unless stated otherwise. Averages over
/// nothing are NaN.
struct ClusterSummary {
  double number_average_size = 0;  ///< beads; sum s n_s / sum n_s
  double weight_average_size = 0;  ///< beads; sum s^2 n_s / sum s n_s
  std::int64_t largest_size = 0;   ///< beads
  std::int64_t count = 0;
  std::int64_t wrapping_count = 0;
  double size_spread = 0;         ///< standard deviation over mean, of clusters of 5 or more
  double radius_of_gyration = 0;  ///< sigma; mean over beads in clusters of 2 or more that do not wrap
  std::array<std::int64_t, kSizeClasses> size_histogram{};  ///< clusters by size class
};

/// Sums are exact, so the result is bitwise independent of the order of the clusters.
ClusterSummary Summarize(std::span<const Cluster> clusters);
ClusterSummary Summarize(const ClusterSums& sums);

/// Columns of a ClusterSummary.
std::vector<Column> ClusterColumns();
/// Appends the values of a summary in the order of ClusterColumns(), the histogram class by class.
void AppendTo(const ClusterSummary& summary, std::vector<double>& values);

}  // namespace gyrebox::kernels
