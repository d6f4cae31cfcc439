/// Shape of the union of equal discs about beads: area, boundary and Euler characteristic, exact to rounding.
#pragma once

#include <cstdint>
#include <span>

#include "measure/disc_part.h"
#include "measure/near_beads.h"

namespace gyrebox::kernels {

/// The three additive measures of the union in the periodic domain.
struct CoveredShape {
  double area_share = 0;         ///< covered area over the area of the bed
  double boundary_per_area = 0;  ///< length of the boundary over the area of the bed, 1/sigma
  std::int64_t euler = 0;        ///< pieces less holes, where nothing goes round the bed
};

/// @param x,y (beads) fixed-point places. @param side_x,side_y in sigma.
/// @param radius of the discs in sigma, at most a quarter of the shorter side. @param scratch memory to use.
CoveredShape MeasureCoveredShape(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, double side_x,
                                 double side_y, double radius, NearBeads& scratch);

/// From the sums over all discs. @param area of the bed, sigma^2.
CoveredShape CoveredShapeOf(const DiscSums& sums, double area);

}  // namespace gyrebox::kernels
