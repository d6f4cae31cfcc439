/// The drive: what is imposed on a spinner at an instant.
#pragma once

#include "gyrebox/run_spec.h"
#include "model/elementary.h"

namespace gyrebox::kernels {

/// Advance of a phase in a time, as a 64-bit fraction of a turn. Whole turns drop out by overflow.
inline std::uint64_t PhaseAdvance(double frequency, double time) {
  const double turns = frequency * time;
  const double fraction = turns - std::floor(turns);
  return static_cast<std::uint64_t>(std::ldexp(fraction, 53)) << 11;
}

/// Value of the drive with its phase, a 64-bit fraction of a turn.
inline double DriveValue(const DriveSpec& drive, std::uint64_t phase) {
  switch (drive.waveform) {
    case DriveSpec::Waveform::kSteady:
      return drive.amplitude;
    case DriveSpec::Waveform::kSine:
      return drive.amplitude * SinTurn(phase);
  }
  return 0;
}

}  // namespace gyrebox::kernels
