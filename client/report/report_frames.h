/// Frames of beds for the report page.
#pragma once

#include <string>

#include "lib/client.h"

namespace gyrebox::client {

/// A frame as JSON. Positions are rounded to 1/65536 of the window: about 7 bytes per bead in base64.
std::string FrameJson(const v1::Frame& frame);

/// The frames of the snapshots and beds of the answers as a JSON object by "RUN@STEP". One that the server does not
/// provide is left out and reported on the error stream. Shows only the central part of a large bed.
std::string FramesJson(Client& client, const v1::Answers& answers);

/// A film of one run as JSON: {"run", "frames"}, at most 60 kept frames spread over it. null if it keeps fewer than 3.
std::string FilmJson(Client& client, const std::string& run);

}  // namespace gyrebox::client
