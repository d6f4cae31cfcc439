#include "measure/pairs/pair_sums.h"

namespace gyrebox::kernels {
namespace {

using Law = ForceSpec::Law;

// Terms of each pair of a batch before summation: the sums have a fixed order, and only order-independent work is
// vectorised. The law is a template parameter for the same reason.
struct ForceTerms {
  double energy[PairBatch::kCapacity], xx[PairBatch::kCapacity], xy[PairBatch::kCapacity], yy[PairBatch::kCapacity];

  template <Law kLaw>
  void Set(PairForce<double> force, const PairBatch& pairs) {
    force.law = kLaw;
    for (int i = 0; i < pairs.size; ++i) {
      const double r = Sqrt(pairs.squared[i]);
      ForceSums one;
      one.Add(force, pairs.dx[i] / r, pairs.dy[i] / r, r);
      energy[i] = one.energy;
      xx[i] = one.xx;
      xy[i] = one.xy;
      yy[i] = one.yy;
    }
  }
};

void SetTerms(const ForceSpec& spec, const PairBatch& pairs, ForceTerms& terms) {
  const PairForce<double> force(spec);
  switch (spec.law) {
    case Law::kExponential:
      return terms.Set<Law::kExponential>(force, pairs);
    case Law::kSoft:
      return terms.Set<Law::kSoft>(force, pairs);
    case Law::kWca:
      return terms.Set<Law::kWca>(force, pairs);
    case Law::kHarmonic:
      return terms.Set<Law::kHarmonic>(force, pairs);
    case Law::kYukawa:
      return terms.Set<Law::kYukawa>(force, pairs);
  }
}

}  // namespace

void AddForces(const ForceSpec& spec, const PairBatch& pairs, ForceSums& sums) {
  ForceTerms terms;
  SetTerms(spec, pairs, terms);
  for (int i = 0; i < pairs.size; ++i) {
    sums.energy += terms.energy[i];
    sums.xx += terms.xx[i];
    sums.xy += terms.xy[i];
    sums.yy += terms.yy[i];
  }
}

void AddPowerOfFriction(const FrictionSpec& spec, const TurningBatch& pairs, double& power) {
  const PairFriction<double> friction(spec);
  double terms[PairBatch::kCapacity];
  for (int i = 0; i < pairs.ways.size; ++i) {
    const double r = Sqrt(pairs.ways.squared[i]);
    BalanceRow<double> row(0, 0);
    AddTurningFriction(friction, pairs.ways.dx[i] / r, pairs.ways.dy[i] / r, r,
                       {pairs.other_vx[i], pairs.other_vy[i], pairs.other_spin[i]}, row);
    terms[i] = NeededTorque(row, {pairs.vx[i], pairs.vy[i], pairs.spin[i]}) * pairs.spin[i];
  }
  for (int i = 0; i < pairs.ways.size; ++i) power += terms[i];
}

double PowerOfDrag(const DragSpec& drag, std::size_t n_beads, const std::uint8_t* spinner, const float* spin) {
  const BalanceRow<double> row(drag);
  double power = 0;
  for (std::size_t i = 0; i < n_beads; ++i) {
    const double own = static_cast<double>(spin[i]);
    if (spinner[i] != 0) power += NeededTorque(row, {0, 0, own}) * own;
  }
  return power;
}

}  // namespace gyrebox::kernels
