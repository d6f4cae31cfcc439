/// Names of what the store holds.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>

#include "gyrebox/v1/run.pb.h"

namespace gyrebox::store {

/// Number of a study named studies/{study}. NOT_FOUND for a name that no study can have.
absl::StatusOr<int64_t> ParseStudyName(const std::string& name);

/// Numbers of a run named studies/{study}/runs/{run}.
struct RunName {
  int64_t study = 0;
  int64_t run = 0;
};
absl::StatusOr<RunName> ParseRunName(const std::string& name);
std::string NameOfRun(int64_t study, int64_t number);

/// What is named studies/{study}/runs/{run}/states/{step}: the run, and the step of its state.
struct StateName {
  RunName run;
  int64_t step = 0;
};
/// None where the name is not that of a state; a run may have that name then.
std::optional<StateName> ParseStateName(const std::string& name);

/// Number of a token named tokens/{token}.
absl::StatusOr<int64_t> ParseTokenName(const std::string& name);

/// STATE_RUNNING becomes RUNNING.
std::string InWords(v1::Run::State state);

}  // namespace gyrebox::store
