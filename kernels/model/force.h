/// Conservative pair forces f(r), which push two beads apart along their line of centres, and their potential energies.
/// Each force is shifted to be continuous at its own cut-off.
#pragma once

#include "gyrebox/run_spec.h"
#include "model/elementary.h"

namespace gyrebox::kernels {

template <class R>
struct PairForce {
  ForceSpec::Law law = ForceSpec::Law::kExponential;
  R strength;        ///< see ForceSpec
  R inverse_length;  ///< 1/decay_length, or 1/cutoff for kSoft
  R cutoff;          ///< sigma
  R shift;           ///< raw force at the cut-off
  R energy_shift;    ///< raw energy at the cut-off

  PairForce() = default;
  GYREBOX_HD explicit PairForce(const ForceSpec& spec)
      : law(spec.law),
        strength(R(spec.strength)),
        inverse_length(R(1.0 / (spec.law == ForceSpec::Law::kSoft ? spec.cutoff : spec.decay_length))),
        cutoff(R(spec.cutoff)),
        shift(R(0.0)),
        energy_shift(R(0.0)) {
    shift = RawForce(cutoff);
    energy_shift = RawEnergy(cutoff);
  }

  /// @param r distance, sigma; may exceed the cut-off. @return epsilon/sigma.
  GYREBOX_HD R Force(R r) const { return Select(r < cutoff, RawForce(r) - shift, R(0.0)); }

  /// @return potential energy of the pair, epsilon; 0 at the cut-off.
  GYREBOX_HD R Energy(R r) const {
    return Select(r < cutoff, RawEnergy(r) - energy_shift - shift * (cutoff - r), R(0.0));
  }

 private:
  GYREBOX_HD R RawForce(R r) const {
    switch (law) {
      case ForceSpec::Law::kExponential:
        return strength * Exp((R(1.0) - r) * inverse_length);
      case ForceSpec::Law::kSoft:
        return strength * (R(1.0) - r * inverse_length);
      case ForceSpec::Law::kWca: {
        const R inverse = R(1.0) / r;
        const R sixth = Sixth(inverse);
        return R(24.0) * strength * inverse * sixth * (R(2.0) * sixth - R(1.0));
      }
      case ForceSpec::Law::kHarmonic:
        return strength * (cutoff - r);
      case ForceSpec::Law::kYukawa: {
        const R inverse = R(1.0) / r;
        return strength * Exp((R(1.0) - r) * inverse_length) * inverse * (inverse + inverse_length);
      }
    }
    return R(0.0);
  }

  GYREBOX_HD R RawEnergy(R r) const {
    switch (law) {
      case ForceSpec::Law::kExponential:
        return strength * Exp((R(1.0) - r) * inverse_length) / inverse_length;
      case ForceSpec::Law::kSoft: {
        const R gap = R(1.0) - r * inverse_length;
        return R(0.5) * strength * gap * gap * cutoff;
      }
      case ForceSpec::Law::kWca: {
        const R sixth = Sixth(R(1.0) / r);
        return R(4.0) * strength * sixth * (sixth - R(1.0));
      }
      case ForceSpec::Law::kHarmonic:
        return R(0.5) * strength * (cutoff - r) * (cutoff - r);
      case ForceSpec::Law::kYukawa:
        return strength * Exp((R(1.0) - r) * inverse_length) / r;
    }
    return R(0.0);
  }

  GYREBOX_HD static R Sixth(R inverse) {
    const R cube = inverse * inverse * inverse;
    return cube * cube;
  }
};

}  // namespace gyrebox::kernels
