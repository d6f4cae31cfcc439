#include "measure/pair_sums.h"

namespace gyrebox::kernels {

ForceSums SumForces(const ForceSpec& spec, const NearPair* pairs, std::size_t n_pairs) {
  const PairForce<double> force(spec);
  ForceSums sums;
  for (std::size_t i = 0; i < n_pairs; ++i) {
    const NearPair& pair = pairs[i];
    if (pair.r >= spec.cutoff) continue;
    sums.energy += force.Energy(pair.r);
    const double push = force.Force(pair.r) * pair.r;
    sums.xx += push * pair.nx * pair.nx;
    sums.xy += push * pair.nx * pair.ny;
    sums.yy += push * pair.ny * pair.ny;
  }
  return sums;
}

void AddTurningFriction(const FrictionSpec& spec, const NearPair* pairs, std::size_t n_pairs,
                        const std::uint8_t* spinner, const Motion<double>* motion, BalanceRow<double>* rows) {
  const PairFriction<double> friction(spec);
  for (std::size_t i = 0; i < n_pairs; ++i) {
    const NearPair& pair = pairs[i];
    const double across = friction.tangential * friction.Weight(pair.r), arm = pair.r / 2;
    if (spinner[pair.a] != 0) rows[pair.a].AddFriction(pair.nx, pair.ny, across, 0, arm, arm, motion[pair.b]);
    if (spinner[pair.b] != 0) rows[pair.b].AddFriction(-pair.nx, -pair.ny, across, 0, arm, arm, motion[pair.a]);
  }
}

double NeededTorque(const BalanceRow<double>& row, const Motion<double>& motion) {
  return row.Product(motion).spin - row.torque;
}

}  // namespace gyrebox::kernels
