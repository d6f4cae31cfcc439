/// Fields of a valid study that are probably not what its author means.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "study/stop.h"

namespace gyrebox::study {

/// Warnings, one sentence each, that begin with the path of the field.
/// @param sent the study as the user sent it. @param spec the same with defaults filled in.
std::vector<std::string> DoubtfulFields(const v1::StudySpec& sent, const v1::StudySpec& spec, const Stop& stop = {});

}  // namespace gyrebox::study
