/// The commands, one file a group. Each returns what the program ends with.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "cli/output.h"

namespace gyrebox::client {

// study_commands.cc
ExitCode Check(const Session& session, const std::string& path);
ExitCode Submit(const Session& session, const std::string& path, bool watch);
ExitCode Cancel(const Session& session, const std::string& study);
/// Submits a study that starts from where a run is now.
ExitCode Branch(const Session& session, const std::string& run, const std::string& path);

// show_commands.cc

/// Which studies to list.
struct ListInput {
  std::string owner, label;  ///< empty for any
  bool all = false;          ///< archived ones too
};
ExitCode List(const Session& session, const ListInput& input);
ExitCode Show(const Session& session, const std::string& study);

// watch_command.cc

/// Follows a study to its end. On a terminal it shows what the study answers so far.
/// @param tell_answers whether it ends with the answers on the output stream.
ExitCode Watch(const Session& session, const std::string& study, bool tell_answers);

// table_command.cc
ExitCode Table(const Session& session, const std::string& study, const std::string& observable, bool csv);

// series_command.cc
/// @param again how its kept frames are to be measured again; none for what it measured.
ExitCode Series(const Session& session, const std::string& run, bool csv, const std::optional<v1::MeasureAgain>& again);

// frame_command.cc
/// Writes one frame of a run into a file, whose name tells the format. @param step the newest where none is given.
/// @param window x, y, width and height of the part to show; empty for all, or as much as there is room for.
ExitCode Frame(const Session& session, const std::string& run, const std::string& path, std::optional<int64_t> step,
               const std::vector<double>& window);

// steer_commands.cc

/// What to change in runs.
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
/// Lists the labels of a study, after some were put on and others taken off.
ExitCode Label(const Session& session, const std::string& study, const std::vector<std::string>& put,
               const std::vector<std::string>& drop);
/// @param why the reason; none takes the run back in.
ExitCode Exclude(const Session& session, const std::string& run, const std::optional<std::string>& why);
ExitCode Archive(const Session& session, const std::string& study, bool undo);
/// @param yes deletes without a question.
ExitCode Delete(const Session& session, const std::string& study, bool yes);
/// @param axes FIELD=VALUE,VALUE,... each.
ExitCode Grow(const Session& session, const std::string& study, int trials, const std::vector<std::string>& axes);

// replay_command.cc
ExitCode Replay(const Session& session, const std::string& run);

// queue_commands.cc
ExitCode Queue(const Session& session);
ExitCode Prioritize(const Session& session, const std::string& name, int priority);

// report_command.cc

/// Writes what a study answers into a folder: report.html, answers.json, quantities.csv, a CSV file for each plot,
/// runs.csv with all seeds, and the study file. Tells the answers in words.
ExitCode Report(const Session& session, const std::string& study, const std::string& directory,
                const v1::AnalysisOptions& options);

// units_command.cc

/// What to convert. Names end in their units; those that end in none are in reduced units.
struct UnitsInput {
  std::optional<double> diameter_um, field_mt, moment_am2, frequency_hz;
  double viscosity_mpa_s = 0.890;  ///< water at 25 degrees Celsius; from memory
  double temperature_k = 298.15;
  double reduced_temperature = 0.002;  ///< k_B T in epsilon
  std::optional<double> rate, torque, frequency, time;
};
ExitCode Units(const UnitsInput& input);

// box_command.cc
/// @param drain true to empty the device first, false to let it work again; none to look only.
ExitCode ShowBox(const Session& session, std::optional<bool> drain);

// people_command.cc
ExitCode AddPerson(const Session& session, const std::string& person, bool admin, int days);
ExitCode ListPeople(const Session& session);
/// @param who a person, or a token such as tokens/3 or 3.
ExitCode RevokePerson(const Session& session, const std::string& who);

}  // namespace gyrebox::client
