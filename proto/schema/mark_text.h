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
  bool moves_with_step = false;  ///< by the audit of the time step
};

/// What is said of a point whose size is another one with half the time step.
inline constexpr char kMovesWithStep[] = "moves with the time step";

/// "unstable 2/3, waiting 1/3, moves with the time step"; empty where every trial counts and nothing else is to be
/// said.
std::string MarkText(const TrialCounts& counts);

}  // namespace gyrebox::schema
