/// Resource names of the store.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>

#include "gyrebox/v1/run.pb.h"

namespace gyrebox::store {

/// Number of a study named studies/{study}. INVALID_ARGUMENT for an empty name, NOT_FOUND for an invalid one.
absl::StatusOr<int64_t> ParseStudyName(const std::string& name);

/// Numbers of a run named studies/{study}/runs/{run}.
struct RunName {
  int64_t study = 0;
  int64_t run = 0;
};
absl::StatusOr<RunName> ParseRunName(const std::string& name);
std::string NameOfRun(int64_t study, int64_t number);

/// Numbers of a state named studies/{study}/runs/{run}/states/{step}.
struct StateName {
  RunName run;
  int64_t step = 0;
};
/// None if the name is not that of a state; it may then be that of a run.
std::optional<StateName> ParseStateName(const std::string& name);

/// Numbers of a journal entry named studies/{study}/runs/{run}/adjustments/{adjustment}.
struct AdjustmentName {
  RunName run;
  int64_t entry = 0;
};
absl::StatusOr<AdjustmentName> ParseAdjustmentName(const std::string& name);

/// Number of a token named tokens/{token}.
absl::StatusOr<int64_t> ParseTokenName(const std::string& name);

/// STATE_RUNNING becomes RUNNING.
std::string InWords(v1::Run::State state);

}  // namespace gyrebox::store
