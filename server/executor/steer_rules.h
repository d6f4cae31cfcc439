/// What may be done to a run in which state, and the words for it.
#pragma once

#include <absl/status/status.h>

#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/steering.pb.h"

namespace gyrebox::executor {

/// "paused", "adjusted": what was done.
const char* Done(v1::Adjustment::Kind kind);

/// Whether it may be done to a run in its state.
bool Fits(v1::Adjustment::Kind kind, const v1::Run& run);

/// FAILED_PRECONDITION that says the state of a run, and what can be done in it.
absl::Status WrongState(v1::Adjustment::Kind kind, const v1::Run& run);

/// The entry for a run that the server itself holds.
v1::Adjustment ServerPause(int64_t step, double time_step, const std::string& why);

/// ABORTED that says what was done to a run since an etag.
absl::Status ChangedSince(const v1::Run& run, const std::string& etag, const std::vector<v1::Adjustment>& journal);

}  // namespace gyrebox::executor
