/// Following a study, for several commands.
#pragma once

#include <string>

#include "output/output.h"

namespace gyrebox::client {

/// Follows a study until it ends. Shows its answers so far on a terminal.
/// @param tell_answers whether to print the final answers on the output stream.
ExitCode Watch(const Session& session, const std::string& study, bool tell_answers);

}  // namespace gyrebox::client
