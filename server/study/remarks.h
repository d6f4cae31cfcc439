/// What people say about studies and runs.
#pragma once

#include <google/protobuf/repeated_ptr_field.h>

#include <string>

#include "study/violations.h"

namespace gyrebox::study {

/// A note: up to 10000 characters, of several lines if need be.
void CheckNote(const std::string& note, const std::string& path, Violations* violations);

/// Labels: at most 20, all different, each of 1 to 40 letters, digits, -, _ or .
void CheckLabels(const google::protobuf::RepeatedPtrField<std::string>& labels, const std::string& path,
                 Violations* violations);

/// Why a run is left out: one line of 1 to 200 characters.
void CheckReason(const std::string& reason, const std::string& path, Violations* violations);

}  // namespace gyrebox::study
