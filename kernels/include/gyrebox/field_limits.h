/// Reference levels for people in magnetic fields that vary in time.
#pragma once

#include <numbers>

namespace gyrebox::units {

/// Reference levels, T, root mean square of the field where people are.
struct ReferenceLevels {
  double occupational = 0;
  double general_public = 0;
};

/// Frequencies that the levels cover, Hz.
inline constexpr double kLowestLevelFrequency = 1, kHighestLevelFrequency = 10e6;

/// Levels of ICNIRP, "Guidelines for limiting exposure to time-varying electric and magnetic fields (1 Hz to 100 kHz)",
/// Health Physics 99, 818 (2010). Above 100 kHz there are further limits, against heating.
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

/// Root mean square of a field along one line whose sine has this peak.
constexpr double RmsOfPeak(double peak) { return peak / std::numbers::sqrt2; }

/// Levels of a constant field, T: of the general public, and that from which warnings protect people with implants
/// (ICNIRP, Health Physics 96, 504 (2009); from memory).
inline constexpr double kConstantPublic = 0.4, kConstantImplants = 5e-4;

}  // namespace gyrebox::units
