/// Schedule of a run: its stages, and the drive at the end of each.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::analysis {

/// One stage of a run; a run without stages counts as one.
struct Stage {
  std::string label;   ///< as given in the study, else its number from 1
  double begin = 0;    ///< tau
  double end = 0;      ///< tau
  bool ramps = false;  ///< a number ramps throughout it, so it has no plateau
  // The drive at its end.
  double amplitude = 0;
  double period = 0;          ///< after which it repeats, in tau; that of its modulation if there is one; 0 for none
  double frequency = 0;       ///< of the waveform itself in cycles/tau; 0 if it has no single one
  std::string bed_and_drive;  ///< equal text means the same bed under the same drive, apart from seeds
};

/// Stages of a run at a point. @param at the study with its axis values set.
std::vector<Stage> StagesOf(const v1::StudySpec& at);

}  // namespace gyrebox::analysis
