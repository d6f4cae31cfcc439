/// Order of the six nearest neighbours: hexatic order, and the fraction of the bead's own kind.
#pragma once

#include <complex>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/pairs/cell_list.h"
#include "measure/pairs/six_nearest.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

/// psi6 of a bead is the mean of exp(6 i angle) over the directions to its six nearest neighbours. NaN if there are
/// fewer than seven beads.
struct BondOrder {
  double local = 0;   ///< mean of |psi6| over all beads
  double global = 0;  ///< |mean of psi6 over all beads|
  double same_kind_fraction =
      0;  ///< mean fraction of spinners among the six nearest of a spinner; NaN without spinners
};

/// @param scratch memory to use. @param by_bead null, or receives psi6 of each bead.
BondOrder MeasureBondOrder(const Snapshot& snapshot, CellList& scratch,
                           std::vector<std::complex<double>>* by_bead = nullptr);

/// Sums over beads: |psi6|, psi6, and the number of spinners among the six nearest of spinners.
struct OrderSums {
  double moduli = 0;
  Hexatic psi;
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
