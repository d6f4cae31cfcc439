/// The course of a run: its stages, and the drive at the end of each.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::analysis {

/// One stage of a run; a run without stages is one.
struct Stage {
  std::string label;   ///< as the study has it, else its number from 1
  double begin = 0;    ///< tau
  double end = 0;      ///< tau
  bool ramps = false;  ///< something changes all the way through it: it has no plateau
  // The drive at its end.
  double amplitude = 0;
  double period = 0;          ///< after which it repeats, in tau; that of its modulation where it has one; 0 where none
  double frequency = 0;       ///< of the wave itself in cycles/tau; 0 where it has no single one
  std::string bed_and_drive;  ///< the same text means the same bed under the same drive, but for the seeds
};

/// The stages of a run at a point whose axes are set.
std::vector<Stage> StagesOf(const v1::StudySpec& at);

}  // namespace gyrebox::analysis
