/// Checks notes, labels and reasons that users give for studies and runs.
#pragma once

#include <google/protobuf/repeated_ptr_field.h>

#include <string>

#include "study/validation/violations.h"

namespace gyrebox::study {

/// A note: up to 10000 characters, on one or more lines.
void CheckNote(const std::string& note, const std::string& path, Violations* violations);

/// Labels: at most 20, all different, each of 1 to 40 letters, digits, -, _ or .
void CheckLabels(const google::protobuf::RepeatedPtrField<std::string>& labels, const std::string& path,
                 Violations* violations);

/// Reason for excluding a run: one line of 1 to 200 characters.
void CheckReason(const std::string& reason, const std::string& path, Violations* violations);

}  // namespace gyrebox::study
