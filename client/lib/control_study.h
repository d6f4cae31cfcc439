/// The control of a study whose runs change their drive.
#pragma once

#include <absl/status/statusor.h>

#include <string>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::client {

/// A study of the same beds from other seeds that stay under one drive, one point for each drive that the stages hold,
/// for as long as the stages last: its beds are the as-prepared samples of equal age, and age without a switch. Its
/// plateau is as long as that of the last stage.
/// INVALID_ARGUMENT where there are no stages, or where stages change more than the amplitude.
/// @param spec with defaults filled in, as the server returns it. @param name of the study, for the title.
absl::StatusOr<v1::StudySpec> ControlOf(const v1::StudySpec& spec, const std::string& name);

}  // namespace gyrebox::client
