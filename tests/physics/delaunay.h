/// Delaunay triangulation of points on a torus.
#pragma once

#include <algorithm>
#include <array>
#include <boost/polygon/voronoi.hpp>
#include <cmath>
#include <cstdint>
#include <random>
#include <stdexcept>
#include <vector>

#include "measure/clusters/clusters.h"
#include "thresholds.h"

namespace gyrebox {

/// Random points in a square of side 1, and the edges between them.
struct DelaunayTorus {
  std::vector<std::uint32_t> x, y;  ///< (points) fractions of the side times 2^32
  std::vector<kernels::Bond> edges;
  std::vector<std::array<std::uint32_t, 3>> triangles;

  DelaunayTorus(int n_points, std::mt19937_64& random) {
    for (int i = 0; i < n_points; ++i) {
      x.push_back(static_cast<std::uint32_t>(random() >> kCoarser << kCoarser));
      y.push_back(static_cast<std::uint32_t>(random() >> kCoarser << kCoarser));
    }
    Triangulate();
  }

  /// Length of an edge, in units of the side.
  double LengthOf(const kernels::Bond& edge) const {
    const auto gap = [](std::uint32_t from, std::uint32_t to) {
      return static_cast<std::int32_t>(to - from) * 0x1p-32;
    };
    return std::hypot(gap(x[edge.a], x[edge.b]), gap(y[edge.a], y[edge.b]));
  }

  std::vector<int> NeighborCounts() const {
    std::vector<int> count(x.size(), 0);
    for (const kernels::Bond& edge : edges) ++count[edge.a], ++count[edge.b];
    return count;
  }

 private:
  // The builder takes 32-bit integers, and periodic images surround the square.
  static constexpr int kCoarser = 4;
  static constexpr std::int32_t kSide = 1 << (32 - kCoarser);

  struct Image {
    std::uint32_t point;
    bool own;  // in the square itself
  };

  // Images within a margin of the square. A triangle at the edge reaches beyond it with a probability of about
  // exp(-25).
  std::vector<Image> PositionImages(std::vector<boost::polygon::point_data<std::int32_t>>& positions) const {
    const double margin = std::min(1.0, 6 / std::sqrt(static_cast<double>(x.size()))) * kSide;
    std::vector<Image> images;
    for (std::uint32_t i = 0; i < x.size(); ++i) {
      for (int up = -1; up <= 1; ++up) {
        for (int right = -1; right <= 1; ++right) {
          const std::int32_t at_x = static_cast<std::int32_t>(x[i] >> kCoarser) + right * kSide;
          const std::int32_t at_y = static_cast<std::int32_t>(y[i] >> kCoarser) + up * kSide;
          const auto near = [&](std::int32_t at) { return at > -margin && at < kSide + margin; };
          if (!near(at_x) || !near(at_y)) continue;
          positions.emplace_back(at_x, at_y);
          images.push_back({i, up == 0 && right == 0});
        }
      }
    }
    return images;
  }

  // Each edge and triangle has many images; keeps the image whose lowest-index point lies in the square.
  void Triangulate() {
    std::vector<boost::polygon::point_data<std::int32_t>> positions;
    const std::vector<Image> images = PositionImages(positions);
    boost::polygon::voronoi_diagram<double> diagram;
    boost::polygon::construct_voronoi(positions.begin(), positions.end(), &diagram);
    const auto least_is_own = [&](auto begin, auto end) {
      return std::min_element(begin, end, [](const Image& a, const Image& b) { return a.point < b.point; })->own;
    };
    for (const auto& edge : diagram.edges()) {
      const Image ends[] = {images[edge.cell()->source_index()], images[edge.twin()->cell()->source_index()]};
      if (ends[0].point < ends[1].point && ends[0].own) edges.push_back({ends[0].point, ends[1].point});
    }
    for (const auto& vertex : diagram.vertices()) {
      std::vector<Image> corners;
      const auto* edge = vertex.incident_edge();
      do {
        corners.push_back(images[edge->cell()->source_index()]);
        edge = edge->rot_next();
      } while (edge != vertex.incident_edge());
      if (!least_is_own(corners.begin(), corners.end())) continue;
      if (corners.size() != 3) throw std::runtime_error("four points on a circle: take another seed");
      triangles.push_back({corners[0].point, corners[1].point, corners[2].point});
    }
  }
};

/// Points with a chosen subset.
struct Colouring {
  const DelaunayTorus& torus;
  std::vector<char> chosen;

  /// Chooses no point.
  explicit Colouring(const DelaunayTorus& torus) : torus(torus), chosen(torus.x.size(), 0) {}
  Colouring(const DelaunayTorus& torus, double probability, std::mt19937_64& random) : Colouring(torus) {
    std::bernoulli_distribution chance(probability);
    for (char& site : chosen) site = chance(random) ? 1 : 0;
  }

  /// Clusters of the `chosen` points, or of the others.
  std::span<const kernels::Cluster> Clusters(kernels::ClusterFinder& finder, bool of_chosen = true) const {
    std::vector<std::uint32_t> x, y, number(chosen.size());
    for (std::size_t i = 0; i < chosen.size(); ++i) {
      if ((chosen[i] != 0) != of_chosen) continue;
      number[i] = static_cast<std::uint32_t>(x.size());
      x.push_back(torus.x[i]);
      y.push_back(torus.y[i]);
    }
    std::vector<kernels::Bond> bonds;
    for (const kernels::Bond& edge : torus.edges) {
      if ((chosen[edge.a] != 0) == of_chosen && (chosen[edge.b] != 0) == of_chosen) {
        bonds.push_back({number[edge.a], number[edge.b]});
      }
    }
    return finder.Find(x, y, 1, 1, bonds);
  }

  /// Sites minus bonds plus triangles, counting those whose sites are all chosen.
  int Characteristic() const {
    int sum = 0;
    for (const char site : chosen) sum += site;
    for (const kernels::Bond& edge : torus.edges) sum -= chosen[edge.a] & chosen[edge.b];
    for (const auto& t : torus.triangles) sum += chosen[t[0]] & chosen[t[1]] & chosen[t[2]];
    return sum;
  }
};

/// Thresholds of beds of random points. The points are independent, so they are occupied in index order.
inline std::vector<Thresholds> DelaunayThresholds(int n_points, int beds, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  kernels::ClusterFinder finder;
  std::vector<Thresholds> out;
  for (int bed = 0; bed < beds; ++bed) {
    const DelaunayTorus torus(n_points, random);
    Colouring colouring(torus);
    out.push_back(ThresholdsOf(n_points, random, [&](int taken) {
      std::fill(colouring.chosen.begin(), colouring.chosen.end(), char{0});
      std::fill_n(colouring.chosen.begin(), taken, char{1});
      return GoesRound(colouring.Clusters(finder)).directions;
    }));
  }
  return out;
}

}  // namespace gyrebox
