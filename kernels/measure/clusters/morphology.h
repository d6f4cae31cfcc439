/// Morphology of the bed: the shape of the region that the spinners cover, and its class.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/clusters/clusters.h"
#include "measure/clusters/minkowski_functionals.h"

namespace gyrebox::kernels {

enum class MorphologyClass { kNone = 0, kDroplets = 1, kStripes = 2, kInverseDroplets = 3 };

/// Input of the classification of a bed.
struct Domains {
  ClusterSummary spinners, passive;  ///< clusters of each kind
  double spinner_count = 0, passive_count = 0;
  double area = 0;                ///< of the bed, sigma^2
  double spacing = 0;             ///< sigma; see StructureSummary
  double same_kind_fraction = 0;  ///< see BondOrder
};

/// Class of a bed. Mixed beds have none: those where the fraction of spinners among the neighbours of spinners is less
/// than half way from its random value to 1. Otherwise the class depends on which kinds hold together. A kind holds
/// together if one of its clusters wraps round the bed, or if the weight-average size is over three times the beads of
/// the kind in one domain, the square of the domain spacing. Passive beads only: droplets; both: stripes, straight or
/// winding; spinners only: inverse droplets.
/// The Euler characteristic cannot distinguish these: in a dense bed most gaps between three beads are holes.
MorphologyClass Classify(const Domains& domains);

struct Morphology {
  MinkowskiFunctionals shape;
  double area = 0;  ///< of the bed, sigma^2
  MorphologyClass word = MorphologyClass::kNone;
};

/// Columns of a Morphology.
std::vector<Column> MorphologyColumns();
/// Appends the values in the order of MorphologyColumns().
void AppendTo(const Morphology& morphology, std::vector<double>& values);

}  // namespace gyrebox::kernels
