/// What a reader must know about a point of a study.
#pragma once

#include <string>

namespace gyrebox::schema {

/// Realizations of a point by outcome.
struct TrialCounts {
  int counted = 0;  ///< ran to their end
  int unstable = 0;
  int failed = 0;
  int cancelled = 0;
  int changed = 0;    ///< by a user during the run
  int identical = 0;  ///< to another realization that counts
  int excluded = 0;   ///< by a user, whatever their state
  int waiting = 0;
  bool moves_with_step = false;  ///< by the audit of the time step
};

/// Mark of a point whose size changes with half the time step.
inline constexpr char kMovesWithStep[] = "moves with the time step";

/// "unstable 2/3, waiting 1/3, moves with the time step"; empty if every realization counts and there is nothing else
/// to mark.
std::string MarkText(const TrialCounts& counts);

}  // namespace gyrebox::schema
