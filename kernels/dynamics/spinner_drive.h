/// The drive of every spinner: one wave for all, or each with its own share of disorder.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/bed_state.h"
#include "gyrebox/run_spec.h"
#include "model/own_drive.h"

namespace gyrebox::kernels {

/// What of the drive a checkpoint must hold.
struct DriveState {
  Phases phases;                     ///< of the wave without disorder
  std::vector<Phases> own_phases;    ///< (spinners), where frequencies differ
  std::vector<std::uint32_t> turns;  ///< (spinners) periods passed, where there is jitter
};

/// The drive of a saved bed, out of its state and into it.
DriveState DriveOf(const BedState& state);
void PutDrive(const DriveState& drive, BedState& state);

/// Steps the phases of a drive, and gives the value for each spinner in units of rad/tau or epsilon.
class SpinnerDrive {
 public:
  /// @param ids (spinners) bead numbers, which with the seed of disorder name each spinner's own numbers.
  SpinnerDrive(std::uint64_t seed, std::vector<std::uint32_t> ids);

  /// Takes over the settings that hold from now on; phases stay.
  void Configure(const WaveSpec& wave, const DisorderSpec& disorder);

  /// All spinners are driven alike: Common() is all there is.
  bool uniform() const { return uniform_; }
  /// Value of the drive without disorder, `ahead` tau from the present phase.
  double Common(double ahead) const;
  /// @param values (spinners), filled in the order of the ids.
  void Each(double ahead, std::span<float> values) const;

  void Advance(double time);

  const DriveState& state() const { return state_; }
  void set_state(const DriveState& state) { state_ = state; }

 private:
  std::uint64_t seed_;
  std::vector<std::uint32_t> ids_;
  WaveSpec wave_;
  DisorderSpec disorder_;
  bool uniform_ = true;
  DriveState state_;
  std::vector<SpinnerNumbers> own_;  // (spinners)
};

}  // namespace gyrebox::kernels
