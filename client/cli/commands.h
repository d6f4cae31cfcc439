/// The commands, one file a group. Each returns what the program ends with.
#pragma once

#include <string>

#include "cli/output.h"

namespace gyrebox::client {

// study_commands.cc
ExitCode Check(const Session& session, const std::string& path);
ExitCode Submit(const Session& session, const std::string& path, bool watch);
ExitCode Cancel(const Session& session, const std::string& study);

// show_commands.cc
ExitCode List(const Session& session);
ExitCode Show(const Session& session, const std::string& study);

// watch_command.cc
ExitCode Watch(const Session& session, const std::string& study);

// table_command.cc
ExitCode Table(const Session& session, const std::string& study, const std::string& observable, bool csv);

// series_command.cc
ExitCode Series(const Session& session, const std::string& run, bool csv);

// box_command.cc
ExitCode ShowBox(const Session& session);

}  // namespace gyrebox::client
