/// Writes a study as a study file.
#pragma once

#include <string>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::client {

/// A study file that parses to this study: TOML with the field names of the schema as keys.
std::string StudyFileText(const v1::StudySpec& spec);

}  // namespace gyrebox::client
