/// What handlers ask of the executor.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <string>

#include "api/rooms.h"
#include "executor/steering.h"

namespace gyrebox::api {

/// One run, or with run 0 all runs of a study.
struct Target {
  int64_t study = 0;
  int64_t run = 0;
};

/// What studies/{study} or studies/{study}/runs/{run} names. NOT_FOUND for a name that none can have.
absl::StatusOr<Target> ParseTarget(const std::string& name);

/// Asks the executor, which calls `done` with the first entries of the journals, or with why it cannot be done.
void Steer(const Rooms& rooms, executor::SteerRequest asked,
           std::function<void(absl::StatusOr<executor::Steered>)> done);

}  // namespace gyrebox::api
