/// Conservative pair forces: f(r) pushes two beads apart along their line of centres, and its potential energy.
#pragma once

#include "gyrebox/run_spec.h"
#include "model/elementary.h"

namespace gyrebox::kernels {

/// f(r) = F0 [exp(-(r - 1)/lambda) - exp(-(r_c - 1)/lambda)] for r < r_c, else 0.
template <class R>
struct ExponentialForce {
  R strength;       ///< F0, epsilon/sigma
  R inverse_decay;  ///< 1/lambda
  R shift;          ///< exp(-(r_c - 1)/lambda)
  R cutoff;         ///< r_c, sigma

  ExponentialForce() = default;
  explicit ExponentialForce(const ForceSpec& spec)
      : strength(R(spec.strength)),
        inverse_decay(R(1.0 / spec.decay_length)),
        shift(R(Exp(-(spec.cutoff - 1.0) / spec.decay_length))),
        cutoff(R(spec.cutoff)) {}

  /// @param r distance, sigma, within the cut-off or not. @return epsilon/sigma, never negative.
  GYREBOX_HD R Force(R r) const {
    const R f = strength * (Exp((R(1.0) - r) * inverse_decay) - shift);
    return Select(r < cutoff, f, R(0.0));
  }
  /// @return potential energy of the pair, epsilon; 0 at the cut-off.
  GYREBOX_HD R Energy(R r) const {
    const R e = strength * ((Exp((R(1.0) - r) * inverse_decay) - shift) / inverse_decay - shift * (cutoff - r));
    return Select(r < cutoff, e, R(0.0));
  }
};

}  // namespace gyrebox::kernels
