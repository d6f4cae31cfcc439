/// Retention rules of a machine.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "store/store.h"

namespace gyrebox::retention {

struct Rules {
  double keep_days = 0;  ///< time after its end for which a study is kept; 0 for ever
  double keep_gib = 0;   ///< disk space for all studies together; 0 for no limit
  double warn_days = 7;  ///< time between the warning and the deletion
};

/// A study due for deletion.
struct Due {
  store::Deletable study;
  std::string reason;  ///< in words
};

/// Studies due for deletion, in the order in which they ended: those that are too old, and the earliest to end while
/// all studies together exceed their space.
/// @param now milliseconds since 1970.
std::vector<Due> WhatIsDue(const store::DeletableStudies& there, const Rules& rules, int64_t now);

}  // namespace gyrebox::retention
