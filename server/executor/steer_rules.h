/// Which adjustments a run accepts in which state, and the messages about them.
#pragma once

#include <absl/status/status.h>

#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/steering.pb.h"

namespace gyrebox::executor {

/// Whether a run accepts the adjustment in its current state.
bool Fits(v1::Adjustment::Kind kind, const v1::Run& run);

/// Whether a run on the device leaves it.
bool MakesLeave(v1::Adjustment::Kind kind);

/// FAILED_PRECONDITION that states the state of a run and the adjustments that it accepts.
absl::Status WrongState(v1::Adjustment::Kind kind, const v1::Run& run);

/// Journal entry for a run that the server holds.
v1::Adjustment ServerPause(int64_t step, double time_step, const std::string& why);

/// ABORTED that lists what was done to a run since an etag.
absl::Status ChangedSince(const v1::Run& run, const std::string& etag, const std::vector<v1::Adjustment>& journal);

}  // namespace gyrebox::executor
