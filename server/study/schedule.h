/// Converts the drive and the schedule of a run for the kernels.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/run_spec.h"
#include "gyrebox/settings.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

kernels::DriveSpec ToDriveSpec(const v1::Drive& drive);

/// Steps of a stage: at least one.
int64_t StepsOf(const v1::Stage& stage, double time_step);
/// Steps of a whole run.
int64_t StepsOf(const v1::StudySpec& at);
/// Length in tau of the last stage, or of the run if it has no stages.
double LastStageTime(const v1::StudySpec& at);

/// Changes of the stages, at the steps where they begin, and steered adjustments, in the order in which they take
/// effect.
std::vector<kernels::Adjustment> ToAdjustments(const v1::StudySpec& at);
/// Changes of the stages, without steps and ramp lengths, then the steered adjustments: available before the time step
/// is chosen.
std::vector<kernels::Adjustment> ChangesInOrder(const v1::StudySpec& at);
/// One steered adjustment.
kernels::Adjustment ToAdjustment(const v1::ReplayedAdjustment& steered);

/// Highest frequency during a run, without steering, in cycles/tau; 0 under a steady drive.
struct HighestFrequency {
  double of_wave = 0;     ///< of the wave itself
  double of_spinner = 0;  ///< of the fastest spinner, up to 3 spreads higher
  int stage = -1;         ///< stage, from 0, that first reaches of_spinner; -1 if it holds from the start
};
HighestFrequency HighestFrequencyOf(const v1::StudySpec& at);

/// Running maximum of the spinner frequency. Takes adjustments in the order in which they take effect.
class FrequencyFold {
 public:
  explicit FrequencyFold(const kernels::DriveSpec& drive);
  void Add(const kernels::Adjustment& adjustment);
  /// Whether an adjustment affects frequencies.
  static bool Concerns(const kernels::Adjustment& adjustment);

  double highest() const { return highest_.of_spinner; }  ///< cycles/tau
  const HighestFrequency& all() const { return highest_; }
  /// Current values of the numbers that determine frequencies.
  std::array<double, 5> now() const {
    const kernels::WaveSpec& wave = now_.wave;
    return {wave.frequency, wave.last_frequency, wave.index, wave.modulation_frequency, now_.disorder.frequency_spread};
  }

 private:
  void Count(const kernels::Settings& settings);

  kernels::Settings now_;
  int added_ = 0;
  HighestFrequency highest_;
};

/// Highest frequency of any spinner, including steering, in cycles/tau.
double HighestSteeredFrequency(const v1::StudySpec& at);

/// Whether a period at this frequency has too few steps.
bool IsTooFast(double frequency, double time_step);
/// "300 cycles/tau leaves 6.7 steps a period, which is too few; ..." and what would be right.
std::string TooFastText(double frequency, double time_step);

}  // namespace gyrebox::study
