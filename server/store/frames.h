/// Frames of runs, from kept frames and from states.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <vector>

#include "store/connections.h"
#include "store/frame.h"
#include "store/state_directory.h"

namespace gyrebox::store {

class Frames {
 public:
  Frames(Connections& connections, const StateDirectory& files) : connections_(connections), files_(files) {}

  /// Kept frames of a run, from a step on.
  absl::StatusOr<std::vector<FrameStamp>> List(int64_t study, int64_t number, int64_t from_step, int limit);
  /// The frame kept at a step. NOT_FOUND, DATA_LOSS.
  absl::StatusOr<Frame> ReadKept(int64_t study, int64_t number, int64_t step);
  /// The newest frame at or before a step, from a kept frame or a state. None if there is none. DATA_LOSS.
  absl::StatusOr<std::optional<Frame>> Read(int64_t study, int64_t number, int64_t at_most);
  /// The step of the frame that Read() would return.
  absl::StatusOr<std::optional<int64_t>> Find(int64_t study, int64_t number, int64_t at_most);

 private:
  Connections& connections_;
  const StateDirectory& files_;
};

// ---- inside a transaction

/// Stores frames of a starting or running run, except those already stored.
absl::Status AppendFrames(Connection& connection, int64_t study, int64_t number, const std::vector<Frame>& frames);

/// Deletes the frames of a run from a step on.
absl::Status CutFrames(Connection& connection, int64_t study, int64_t number, int64_t from_step);

}  // namespace gyrebox::store
