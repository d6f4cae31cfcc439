#include "measure/pair_sums.h"

namespace gyrebox::kernels {

ForceSums SumForces(const ForceSpec& spec, const NearPair* pairs, std::size_t n_pairs) {
  const PairForce<double> force(spec);
  ForceSums sums;
  for (std::size_t i = 0; i < n_pairs; ++i) {
    const NearPair& pair = pairs[i];
    if (pair.r >= spec.cutoff) continue;
    sums.Add(force, pair.nx, pair.ny, pair.r);
  }
  return sums;
}

void AddTurningFriction(const FrictionSpec& spec, const NearPair* pairs, std::size_t n_pairs,
                        const std::uint8_t* spinner, const Motion<double>* motion, BalanceRow<double>* rows) {
  const PairFriction<double> friction(spec);
  for (std::size_t i = 0; i < n_pairs; ++i) {
    const NearPair& pair = pairs[i];
    if (spinner[pair.a] != 0) {
      AddTurningFriction(friction, pair.nx, pair.ny, pair.r, motion[pair.b], rows[pair.a]);
    }
    if (spinner[pair.b] != 0) {
      AddTurningFriction(friction, -pair.nx, -pair.ny, pair.r, motion[pair.a], rows[pair.b]);
    }
  }
}

double PowerOfRows(std::size_t n_beads, const std::uint8_t* spinner, const Motion<double>* motion,
                   const BalanceRow<double>* rows) {
  double power = 0;
  for (std::size_t i = 0; i < n_beads; ++i) {
    if (spinner[i] != 0) power += NeededTorque(rows[i], motion[i]) * motion[i].spin;
  }
  return power;
}

}  // namespace gyrebox::kernels
