/// Where commands register themselves: their names, options and what they do.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <memory>
#include <string>

#include "output/output.h"

namespace gyrebox::client {

/// Commands of the program. The chosen one runs after parsing.
class Registry {
 public:
  using Run = std::function<ExitCode(const Session&)>;

  explicit Registry(CLI::App& app) : app_(app) { app_.require_subcommand(1); }

  /// Adds a command. @param parent of it; null for a command of the program.
  CLI::App* Add(const char* name, const char* help, Run run, CLI::App* parent = nullptr);
  /// The same with the flag --json.
  CLI::App* AddWithJson(const char* name, const char* help, Run run, CLI::App* parent = nullptr);
  /// Adds a group of commands, one of which must be given.
  CLI::App* AddGroup(const char* name, const char* help);

  /// Runs the chosen command.
  ExitCode RunChosen(Session session) const;

 private:
  CLI::App& app_;
  Run chosen_;
  bool json_ = false;
};

/// Adds the name of a study as the first argument, of a run, or of either. @return the command.
CLI::App* TakeStudy(CLI::App* command, std::string* name);
CLI::App* TakeRun(CLI::App* command, std::string* name);
CLI::App* TakeStudyOrRun(CLI::App* command, std::string* name);

/// The files of commands, in the order of --help: each registers its own by one function. Options live as long as what
/// the registry holds.
#define GYREBOX_FOR_COMMANDS(DO) \
  DO(RegisterStudyCommands)      \
  DO(RegisterShowCommands)       \
  DO(RegisterWatchCommand)       \
  DO(RegisterTableCommand)       \
  DO(RegisterRunsCommand)        \
  DO(RegisterSeriesCommand)      \
  DO(RegisterFrameCommand)       \
  DO(RegisterReportCommand)      \
  DO(RegisterControlCommand)     \
  DO(RegisterSteerCommands)      \
  DO(RegisterReplayCommand)      \
  DO(RegisterGrowCommand)        \
  DO(RegisterKeepCommands)       \
  DO(RegisterQueueCommands)      \
  DO(RegisterMachineCommand)     \
  DO(RegisterUserCommands)       \
  DO(RegisterUnitsCommand)

#define GYREBOX_DECLARE_COMMANDS(name) void name(Registry& registry);
GYREBOX_FOR_COMMANDS(GYREBOX_DECLARE_COMMANDS)
#undef GYREBOX_DECLARE_COMMANDS

}  // namespace gyrebox::client
