/// Pictures of beds for the page of a report.
#pragma once

#include <string>

#include "lib/client.h"

namespace gyrebox::client {

/// A frame as JSON. Places are rounded to 1/65536 of the window: a bead takes 6 bytes.
std::string FrameJson(const v1::Frame& frame);

/// The beds worth a look as a JSON list in their order: null for one that the server does not give, which is told on
/// the error stream. Of a large bed only a part about its centre is shown.
std::string FramesJson(Client& client, const v1::Answers& answers);

}  // namespace gyrebox::client
