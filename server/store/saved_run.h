/// Runs and states that a study may start from.
#pragma once

#include <string>

#include "store/store.h"
#include "study/saved_start.h"

namespace gyrebox::store {

/// The run or saved state of this name, as a start for a study. NOT_FOUND if there is none; FAILED_PRECONDITION if the
/// run has no end state because it has not FINISHED; DATA_LOSS if the state is damaged.
study::FoundRun FindSavedRun(Store& store, const std::string& name);

/// The study's own copy of its start state, made at its creation, from which it grows and runs. DATA_LOSS if that is
/// missing or damaged.
study::FoundRun FindOwnStart(Store& store, int64_t study, const v1::StudySpec& spec);

/// The beads of a state. DATA_LOSS if the bytes are not a valid state. @param name of its run or state, for the error.
absl::StatusOr<kernels::SavedBed> ToBed(const BedBytes& state, const std::string& name);

/// Whether an error of FindSavedRun() is due to the run, and not a failure of the store that a retry may resolve.
bool IsAboutTheRun(const absl::Status& status);

}  // namespace gyrebox::store
