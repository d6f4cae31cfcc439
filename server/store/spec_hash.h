/// Identity of specifications.
#pragma once

#include <string>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::store {

/// SHA-256 (FIPS 180-4), 32 bytes, of a spec without its title and with its axes as lists: equal for studies of the
/// same runs.
std::string HashOf(v1::StudySpec spec);

}  // namespace gyrebox::store
