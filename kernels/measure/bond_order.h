/// Order of the six nearest neighbours: their sixfold symmetry, and how many are of the bead's own kind.
#pragma once

#include <complex>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/near_beads.h"
#include "measure/six_nearest.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

/// With psi6 of a bead the mean of exp(6 i angle) over the directions to its six nearest neighbours. NaN where there
/// are under seven beads.
struct BondOrder {
  double local = 0;       ///< mean of |psi6| over all beads
  double global = 0;      ///< |mean of psi6 over all beads|
  double like_share = 0;  ///< share of spinners among the six nearest of a spinner, mean; NaN without spinners
};

/// @param scratch memory to use. @param by_bead null, or where to put psi6 of each bead.
BondOrder MeasureBondOrder(const Snapshot& snapshot, NearBeads& scratch,
                           std::vector<std::complex<double>>* by_bead = nullptr);

/// Sums over beads: of |psi6|, of psi6, and of the spinners among the six nearest of spinners.
struct OrderSums {
  double moduli = 0;
  Sixfold psi;
  unsigned long long like = 0;

  void Add(const OrderSums& other) {
    moduli += other.moduli;
    psi.real += other.psi.real;
    psi.imaginary += other.psi.imaginary;
    like += other.like;
  }
};
BondOrder BondOrderOf(const OrderSums& sums, std::size_t n_beads, std::size_t n_spinners);

/// Columns of a BondOrder.
std::vector<Column> BondOrderColumns();
/// Appends the values in the order of BondOrderColumns().
void AppendTo(const BondOrder& order, std::vector<double>& values);

}  // namespace gyrebox::kernels
