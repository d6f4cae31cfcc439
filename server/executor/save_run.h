/// Saves states of runs that are not on the device.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>

#include "gyrebox/v1/steering.pb.h"
#include "store/store.h"

namespace gyrebox::executor {

/// Saves the state of a run that is not on the device.
absl::StatusOr<v1::SavedState> SaveRun(store::Store& store, int64_t study, int64_t number, const store::Request& once);

}  // namespace gyrebox::executor
