/// Reference levels for human exposure to time-varying magnetic fields.
#pragma once

#include <numbers>

namespace gyrebox::units {

/// Reference levels, T, root mean square of the field at the exposed body.
struct ReferenceLevels {
  double occupational = 0;
  double general_public = 0;
};

/// Frequency range of the levels, Hz.
inline constexpr double kLowestLevelFrequency = 1, kHighestLevelFrequency = 10e6;

/// Levels of ICNIRP, "Guidelines for limiting exposure to time-varying electric and magnetic fields (1 Hz to 100 kHz)",
/// Health Physics 99, 818 (2010). Above 100 kHz further limits against heating apply.
/// @param frequency in Hz, 1 to 1e7.
constexpr ReferenceLevels LevelsAt(double frequency) {
  ReferenceLevels levels;
  levels.occupational = frequency < 8     ? 0.2 / (frequency * frequency)
                        : frequency < 25  ? 2.5e-2 / frequency
                        : frequency < 300 ? 1e-3
                        : frequency < 3e3 ? 0.3 / frequency
                                          : 1e-4;
  levels.general_public = frequency < 8     ? 4e-2 / (frequency * frequency)
                          : frequency < 25  ? 5e-3 / frequency
                          : frequency < 400 ? 2e-4
                          : frequency < 3e3 ? 8e-2 / frequency
                                            : 2.7e-5;
  return levels;
}

/// Root mean square of a linearly polarised sinusoidal field with this peak.
constexpr double RmsOfPeak(double peak) { return peak / std::numbers::sqrt2; }

/// Levels of a static field, T: for the general public, and the level from which warnings protect wearers of implants
/// (ICNIRP, Health Physics 96, 504 (2009); from memory).
inline constexpr double kConstantPublic = 0.4, kConstantImplants = 5e-4;

}  // namespace gyrebox::units
