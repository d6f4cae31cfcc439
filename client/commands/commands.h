/// The commands, one file per group. Each returns the exit code of the program.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "output/output.h"

namespace gyrebox::client {

// study_commands.cc
ExitCode Check(const Session& session, const std::string& path);
ExitCode Submit(const Session& session, const std::string& path, bool watch);
ExitCode Cancel(const Session& session, const std::string& study);
/// Submits a study that starts from the present state of a run.
ExitCode Branch(const Session& session, const std::string& run, const std::string& path);

// show_commands.cc

/// Which studies to list.
struct ListInput {
  std::string owner, label;  ///< empty for any
  bool all = false;          ///< include archived studies
};
ExitCode List(const Session& session, const ListInput& input);
ExitCode Show(const Session& session, const std::string& study);

// watch_command.cc

/// Follows a study until it ends. Shows its answers so far on a terminal.
/// @param tell_answers whether to print the final answers on the output stream.
ExitCode Watch(const Session& session, const std::string& study, bool tell_answers);

// table_command.cc
ExitCode Table(const Session& session, const std::string& study, const std::string& observable, bool csv);

// series_command.cc
/// @param again options to measure its kept frames again; none for the stored series.
ExitCode Series(const Session& session, const std::string& run, bool csv, const std::optional<v1::MeasureAgain>& again);

// frame_command.cc
/// Writes one frame of a run to a file; the extension sets the format. @param step of the frame; none for the newest.
/// @param window x, y, width and height of the part to show; empty for all, or as much as fits into a message.
ExitCode Frame(const Session& session, const std::string& run, const std::string& path, std::optional<int64_t> step,
               const std::vector<double>& window);

// steer_commands.cc

/// Adjustment of runs.
struct AdjustInput {
  std::vector<std::string> changes;  ///< FIELD=VALUE
  std::optional<double> at, ramp;    ///< tau
  std::string etag;
};
/// @param name of a run, or of a study for all its runs.
ExitCode Adjust(const Session& session, const std::string& name, const AdjustInput& input);
ExitCode Journal(const Session& session, const std::string& run);
ExitCode Pause(const Session& session, const std::string& name);
ExitCode Resume(const Session& session, const std::string& name);
ExitCode Finish(const Session& session, const std::string& run);
ExitCode Extend(const Session& session, const std::string& run, double time);
ExitCode Save(const Session& session, const std::string& run);

// keep_commands.cc
ExitCode Note(const Session& session, const std::string& study, const std::string& text);
/// Adds and removes labels of a study, then lists those it has.
ExitCode Label(const Session& session, const std::string& study, const std::vector<std::string>& put,
               const std::vector<std::string>& drop);
/// @param why the reason; none includes the run again.
ExitCode Exclude(const Session& session, const std::string& run, const std::optional<std::string>& why);
ExitCode Archive(const Session& session, const std::string& study, bool undo);
/// @param yes deletes without asking.
ExitCode Delete(const Session& session, const std::string& study, bool yes);
/// @param axes FIELD=VALUE,VALUE,... each.
ExitCode Grow(const Session& session, const std::string& study, int trials, const std::vector<std::string>& axes);

// replay_command.cc
ExitCode Replay(const Session& session, const std::string& run);

// queue_commands.cc
ExitCode Queue(const Session& session);
ExitCode Prioritize(const Session& session, const std::string& name, int priority);

// report_command.cc

/// Writes the answers of a study to a folder: report.html, answers.json, quantities.csv, a CSV file for each plot,
/// runs.csv with all seeds, and the study file. Prints the summaries.
ExitCode Report(const Session& session, const std::string& study, const std::string& directory,
                const v1::AnalysisOptions& options);

// units_command.cc

/// Values to convert. Names end in their units; names without a unit are in reduced units.
struct UnitsInput {
  std::optional<double> diameter_um, field_mt, moment_am2, frequency_hz;
  double viscosity_mpa_s = 0.890;  ///< water at 25 degrees Celsius; from memory
  double temperature_k = 298.15;
  double reduced_temperature = 0.002;  ///< k_B T in epsilon
  std::optional<double> rate, torque, frequency, time;
};
ExitCode Units(const UnitsInput& input);

// machine_command.cc
/// @param drain true to drain the device first, false to resume work; none to show only.
ExitCode ShowMachine(const Session& session, std::optional<bool> drain);

// user_command.cc
ExitCode AddUser(const Session& session, const std::string& user, bool admin, int days);
ExitCode ListUsers(const Session& session);
/// @param who a user, or a token such as tokens/3 or 3.
ExitCode RevokeUser(const Session& session, const std::string& who);

}  // namespace gyrebox::client
