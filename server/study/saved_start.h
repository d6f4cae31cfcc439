/// A study that starts from what another run left.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <string>

#include "gyrebox/run_spec.h"
#include "gyrebox/v1/study.pb.h"
#include "study/violations.h"

namespace gyrebox::study {

/// A run to start from.
struct SavedRun {
  v1::Bed bed;  ///< as the study of that run had it, with its axes set
  std::shared_ptr<const kernels::SavedBed> beads;
  std::string state;  ///< name of the state, which stays what it is whatever becomes of the run
};

/// The run that a study names, or why it cannot be started from.
using FoundRun = absl::StatusOr<SavedRun>;

/// Takes what the study leaves out of its bed from the run.
void TakeBed(const SavedRun& saved, v1::StudySpec* spec);

/// Adds faults of the run, and of what the study says of its bed against that of the run.
/// @param spec a study with a saved start.
void CheckSavedStart(const v1::StudySpec& spec, const FoundRun& saved, Violations* violations);

}  // namespace gyrebox::study
