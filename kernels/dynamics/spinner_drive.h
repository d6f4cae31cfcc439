/// Drive of all spinners: one common wave, or a per-spinner drive with disorder.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/bed_state.h"
#include "gyrebox/run_spec.h"
#include "model/per_spinner_drive.h"

namespace gyrebox::kernels {

/// Drive state that a checkpoint stores.
struct DriveState {
  Phases phases;                     ///< of the wave without disorder
  std::vector<Phases> own_phases;    ///< (spinners), empty while all share one drive
  std::vector<std::uint32_t> turns;  ///< (spinners) periods completed; empty while all share one drive
};

/// Reads the drive from the state of a bed, or writes it there.
DriveState DriveOf(const BedState& state);
void PutDrive(const DriveState& drive, BedState& state);

/// Advances the phases of a drive and evaluates it for each spinner, rad/tau or epsilon.
class SpinnerDrive {
 public:
  /// @param ids (spinners) bead ids; with the disorder seed they select each spinner's random numbers.
  SpinnerDrive(std::uint64_t seed, std::vector<std::uint32_t> ids);

  /// Sets the wave and the disorder from now on; phases are kept.
  void Configure(const WaveSpec& wave, const DisorderSpec& disorder);

  /// All spinners share one drive: Common() suffices.
  bool uniform() const { return uniform_; }
  /// Value of the drive without disorder, `ahead` tau after the current phase.
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
