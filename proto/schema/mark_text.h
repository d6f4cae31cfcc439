/// What a reader must know about a point of a study.
#pragma once

#include <string>

namespace gyrebox::schema {

/// Trials of a point by what became of them.
struct TrialCounts {
  int counted = 0;  ///< ran to their end
  int unstable = 0;
  int failed = 0;    ///< or cancelled
  int changed = 0;   ///< while they ran, by a person
  int excluded = 0;  ///< left out by a person, whatever became of them
  int waiting = 0;
};

/// "unstable 2/3, waiting 1/3"; empty where every trial counts.
std::string MarkText(const TrialCounts& counts);

}  // namespace gyrebox::schema
