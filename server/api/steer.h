/// Steering requests of handlers to the executor.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <string>

#include "api/server_context.h"
#include "executor/steer_job.h"

namespace gyrebox::api {

/// One run, or all runs of a study if run is 0.
struct Target {
  int64_t study = 0;
  int64_t run = 0;
};

/// Parses studies/{study} or studies/{study}/runs/{run}. NOT_FOUND for a name that none can have.
absl::StatusOr<Target> ParseTarget(const std::string& name);

/// Sends a request to the executor, which calls `done` with the first entries of the journals, or with an error.
void Steer(const ServerContext& server, executor::SteerRequest asked,
           std::function<void(absl::StatusOr<executor::Steered>)> done);

}  // namespace gyrebox::api
