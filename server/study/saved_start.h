/// Studies that start from the state of another run.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <string>

#include "gyrebox/run_spec.h"
#include "gyrebox/v1/study.pb.h"
#include "study/validation/violations.h"

namespace gyrebox::study {

/// A run to start from.
struct SavedRun {
  v1::Bed bed;  ///< from that run's study, with its axes set
  std::shared_ptr<const kernels::SavedBed> beads;
  std::string state;  ///< name of the state, which stays valid whatever happens to the run
};

/// The run that a study names, or why the study cannot start from it.
using FoundRun = absl::StatusOr<SavedRun>;

/// Fills in the bed fields that the study omits from the run.
void TakeBed(const SavedRun& saved, v1::StudySpec* spec);

/// Adds faults of the run, and conflicts between the study's bed and the run's.
/// @param spec a study with a saved start.
void CheckSavedStart(const v1::StudySpec& spec, const FoundRun& saved, Violations* violations);

}  // namespace gyrebox::study
