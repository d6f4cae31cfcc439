/// Runs that a study may start from.
#pragma once

#include <string>

#include "store/store.h"
#include "study/saved_start.h"

namespace gyrebox::store {

/// The run or the saved state of this name, for a study to start from. NOT_FOUND where there is none;
/// FAILED_PRECONDITION where it has no state, as it is not at its end or did not run to it; DATA_LOSS where the state
/// is damaged.
study::FoundRun FindSavedRun(Store& store, const std::string& name);

/// The state that a study took as its own when it was made, for it to grow from and to run from. DATA_LOSS where that
/// is not there or damaged.
study::FoundRun FindOwnStart(Store& store, int64_t study, const v1::StudySpec& spec);

/// The beads of a state. DATA_LOSS where its bytes are none. @param name of what it is of, for the error.
absl::StatusOr<kernels::SavedBed> ToBed(const BedBytes& state, const std::string& name);

/// Whether what FindSavedRun() tells is about the run, and not about the store, which may do better a moment later.
bool IsAboutTheRun(const absl::Status& status);

}  // namespace gyrebox::store
