/// Morphology of the bed: the shape of what the spinners cover, and the word for it.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/clusters.h"
#include "measure/covered_shape.h"

namespace gyrebox::kernels {

enum class MorphologyClass { kNone = 0, kDroplets = 1, kStripes = 2, kInverseDroplets = 3 };

/// What the word for a bed follows from.
struct Domains {
  ClusterSummary spinners, passive;  ///< clusters of each kind
  double spinner_count = 0, passive_count = 0;
  double area = 0;        ///< of the bed, sigma^2
  double spacing = 0;     ///< sigma; see StructureSummary
  double like_share = 0;  ///< see BondOrder
};

/// The word for a bed. Mixed beds have none: those where spinners have fewer spinners among their neighbours than half
/// way from chance to all. In the others the kinds differ in whether they hold together: a cluster goes round the bed,
/// or the weight-average size is over three times the beads of the kind in one domain, the square of their spacing.
/// Passive beads only, droplets; both, stripes, straight or winding; spinners only, inverse droplets.
/// The Euler characteristic cannot tell these apart: in a dense bed most gaps between three beads are holes.
MorphologyClass Classify(const Domains& domains);

struct Morphology {
  CoveredShape shape;
  double area = 0;  ///< of the bed, sigma^2
  MorphologyClass word = MorphologyClass::kNone;
};

/// Columns of a Morphology.
std::vector<Column> MorphologyColumns();
/// Appends the values in the order of MorphologyColumns().
void AppendTo(const Morphology& morphology, std::vector<double>& values);

}  // namespace gyrebox::kernels
