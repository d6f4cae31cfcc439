/// Which studies a box keeps.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "store/store.h"

namespace gyrebox::retention {

struct Rules {
  double keep_days = 0;  ///< age since its end up to which a study is kept; 0 for ever
  double keep_gib = 0;   ///< space for all studies together; 0 without bound
  double warn_days = 7;  ///< time between the warning and the end
};

/// A study that is to go.
struct Due {
  store::Deletable study;
  std::string reason;  ///< in words
};

/// Studies that are to go by the rules: those that are too old, and where all take too much space those that ended
/// first. In the order in which they ended.
/// @param now milliseconds since 1970.
std::vector<Due> WhatIsDue(const store::DeletableStudies& there, const Rules& rules, int64_t now);

}  // namespace gyrebox::retention
