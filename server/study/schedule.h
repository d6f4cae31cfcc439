/// The drive and the course of a run as the kernels take them.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/run_spec.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

kernels::DriveSpec ToDriveSpec(const v1::Drive& drive);

/// Steps of a stage: at least one.
int64_t StepsOf(const v1::Stage& stage, double time_step);
/// Steps of a whole run.
int64_t StepsOf(const v1::StudySpec& at);
/// Length of the last stage in tau, or of the run where it has no stages.
double LastStageTime(const v1::StudySpec& at);

/// What the stages change, at the steps where they begin, and what was steered, in the order in which it takes effect.
std::vector<kernels::Adjustment> ToAdjustments(const v1::StudySpec& at);
/// The same in its order, but with no steps and lengths of ramps: what there is before the time step is.
std::vector<kernels::Adjustment> ChangesInOrder(const v1::StudySpec& at);
/// One change that was steered.
kernels::Adjustment ToAdjustment(const v1::SteeredChange& steered);

/// Highest frequency in the whole course of a run, steering left out, in cycles/tau; 0 under a steady drive.
struct HighestFrequency {
  double of_wave = 0;     ///< of the wave itself
  double of_spinner = 0;  ///< of the fastest spinner, whose frequencies may be 3 spreads higher
  int stage = -1;         ///< stage, from 0, at which of_spinner is reached first; -1 where it holds from the start
};
HighestFrequency HighestFrequencyOf(const v1::StudySpec& at);

/// The highest frequency of any spinner, folded over adjustments in the order in which they take effect.
class FrequencyFold {
 public:
  explicit FrequencyFold(const kernels::DriveSpec& drive);
  void Add(const kernels::Adjustment& adjustment);
  /// Whether an adjustment bears on frequencies at all.
  static bool Concerns(const kernels::Adjustment& adjustment);

  double highest() const { return highest_.of_spinner; }  ///< cycles/tau
  const HighestFrequency& all() const { return highest_; }
  /// The numbers that bear on frequencies, as they stand now.
  std::array<double, 5> now() const {
    return {wave_.frequency, wave_.last_frequency, wave_.index, wave_.modulation_frequency, spread_};
  }

 private:
  void Count(const kernels::WaveSpec& wave, double spread);

  kernels::WaveSpec wave_;
  double spread_;
  int added_ = 0;
  HighestFrequency highest_;
};

/// Highest frequency of any spinner, with what was steered; in cycles/tau.
double HighestSteeredFrequency(const v1::StudySpec& at);

/// Whether a period of this frequency has too few steps.
bool IsTooFast(double frequency, double time_step);
/// "300 cycles/tau leaves 6.7 steps a period, which is too few; ..." and what would be right.
std::string TooFastText(double frequency, double time_step);

}  // namespace gyrebox::study
