/// Morphology of the bed: the shape of what the spinners cover, and the word for it.
#pragma once

#include <span>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/clusters.h"
#include "measure/covered_shape.h"

namespace gyrebox::kernels {

enum class MorphologyClass { kNone = 0, kDroplets = 1, kStripes = 2, kInverseDroplets = 3 };

/// The word for a bed. Mixed beds have none: those where spinners have fewer spinners among their neighbours than half
/// way from chance to all. In the others the kinds differ in whether a cluster of theirs goes round the bed: passive
/// beads only, droplets; both, stripes; spinners only, inverse droplets.
/// The Euler characteristic cannot tell them apart: in a dense bed every gap between three beads is a hole.
/// @param spinner_share spinners over beads. @param like_share see BondOrder.
MorphologyClass Classify(double spinner_share, double like_share, std::span<const Cluster> spinner_clusters,
                         std::span<const Cluster> passive_clusters);

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
