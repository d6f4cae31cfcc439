/// Names of what the store holds.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <string>

namespace gyrebox::store {

/// Number of a study named studies/{study}. NOT_FOUND for a name that no study can have.
absl::StatusOr<int64_t> ParseStudyName(const std::string& name);

/// Numbers of a run named studies/{study}/runs/{run}.
struct RunName {
  int64_t study = 0;
  int64_t run = 0;
};
absl::StatusOr<RunName> ParseRunName(const std::string& name);

/// Number of a token named tokens/{token}.
absl::StatusOr<int64_t> ParseTokenName(const std::string& name);

}  // namespace gyrebox::store
