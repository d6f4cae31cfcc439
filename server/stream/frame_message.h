/// From the beads of a bed to what people are sent.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/frame.pb.h"
#include "store/frame.h"

namespace gyrebox::stream {

/// A frame to send, or what is wrong with the window that was asked for.
struct FrameMessage {
  v1::Frame frame;
  std::vector<v1::FieldViolation> faults;
};

/// Most beads that a message holds, which bounds its size.
inline constexpr int64_t kMostBeadsShown = 50'000;

/// The beads of a bed within a window, in the order of their numbers.
/// @param run its name. @param asked the window; one without a size takes as much as a message holds.
FrameMessage ToMessage(const std::string& run, const store::Frame& frame, const v1::FrameWindow& asked);

}  // namespace gyrebox::stream
