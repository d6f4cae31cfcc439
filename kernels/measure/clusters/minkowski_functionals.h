/// Minkowski functionals of the union of equal discs around beads: area, boundary length and Euler characteristic,
/// exact to rounding.
#pragma once

#include <cstdint>
#include <span>

#include "measure/clusters/disc_part.h"
#include "measure/pairs/cell_list.h"

namespace gyrebox::kernels {

/// The three Minkowski functionals of the union in the periodic domain.
struct MinkowskiFunctionals {
  double area_fraction = 0;      ///< covered area over the area of the bed
  double boundary_per_area = 0;  ///< length of the boundary over the area of the bed, 1/sigma
  std::int64_t euler = 0;        ///< pieces minus holes, if nothing wraps round the bed
};

/// @param x,y (beads) fixed-point positions. @param side_x,side_y in sigma.
/// @param radius of the discs in sigma, at most a quarter of the shorter side. @param scratch memory to use.
MinkowskiFunctionals MeasureMinkowskiFunctionals(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y,
                                                 double side_x, double side_y, double radius, CellList& scratch);

/// From the sums over all discs. @param area of the bed, sigma^2.
MinkowskiFunctionals MinkowskiFunctionalsOf(const DiscSums& sums, double area);

}  // namespace gyrebox::kernels
