/// Converts the beads of a bed to a message for users.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/frame.pb.h"
#include "store/frame.h"

namespace gyrebox::stream {

/// A frame to send, or the faults of the requested window.
struct FrameMessage {
  v1::Frame frame;
  std::vector<v1::FieldViolation> faults;
};

/// Max beads in a message, which bounds its size.
inline constexpr int64_t kMaxBeadsShown = 50'000;

/// The beads of a bed within a window, in the order of their indices.
/// @param run its name. @param asked the window; without a size, it covers as much as a message holds.
FrameMessage ToMessage(const std::string& run, const store::Frame& frame, const v1::FrameWindow& asked);

}  // namespace gyrebox::stream
