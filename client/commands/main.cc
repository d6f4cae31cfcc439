// gyrebox: options and commands.
#include <CLI/CLI.hpp>
#include <functional>
#include <iostream>
#include <optional>
#include <string>

#include "commands/commands.h"
#include "commands/endpoint.h"
#include "commands/measure_options.h"
#include "output/text.h"

using namespace gyrebox::client;
namespace v1 = gyrebox::v1;

namespace {

struct Options {
  Session session{{"", "", ""}};
  std::string authority_file, token_file;
  bool admin = false;
  int days = 0;
  std::string name;
  std::string observable;
  bool watch = false;
  bool csv = false;
  std::string directory;
  v1::AnalysisOptions analysis;
  MeasureInput measure;
  std::optional<int64_t> step;
  std::vector<double> window;
  UnitsInput units;
  AdjustInput adjust;
  std::string file;
  double time = 0;
  int priority = 0;
  bool drain = false, work = false;
  ListInput list;
  std::string text;
  std::vector<std::string> words, dropped;
  std::optional<std::string> why;
  bool undo = false, yes = false;
  int trials = 0;
};

using Run = std::function<ExitCode()>;

CLI::App* AddCommand(CLI::App& app, const char* name, const char* help, Run* chosen, Run run) {
  CLI::App* command = app.add_subcommand(name, help);
  command->fallthrough();
  command->callback([=] { *chosen = run; });
  return command;
}

void AddJson(CLI::App* command, Options& options) {
  command->add_flag("--json", options.session.json, "Print JSON as defined by the API");
}

/// Runs a command with the options to measure frames again, if given.
ExitCode Measured(const Options& o, const std::function<ExitCode(const std::optional<v1::MeasureAgain>&)>& run) {
  std::string fault;
  const auto again = ToMeasureAgain(o.measure, &fault);
  if (fault.empty()) return run(again);
  std::cerr << "gyrebox: " << fault << "\n";
  return kBadInput;
}

void AddMeasureOptions(CLI::App* command, Options& o) {
  command->add_option("--bond-length", o.measure.bond_length,
                      "Measure the kept frames again with this cluster cutoff in sigma");
  command->add_option("--wave-shells", o.measure.wave_shells,
                      "Measure the kept frames again: FIRST:LAST, shells searched for the peak of S(k)");
}

void AddStudyCommands(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* check = AddCommand(app, "check", "Check a study file and estimate its cost", chosen,
                               [&o] { return Check(o.session, o.name); });
  check->add_option("FILE", o.name, "Study file")->required();
  AddJson(check, o);
  CLI::App* submit = AddCommand(app, "submit", "Submit a study; prints its name", chosen,
                                [&o] { return Submit(o.session, o.name, o.watch); });
  submit->add_option("FILE", o.name, "Study file")->required();
  submit->add_flag("--watch", o.watch, "Follow it until it ends");
  CLI::App* cancel = AddCommand(app, "cancel", "Cancel a study; its data so far are kept", chosen,
                                [&o] { return Cancel(o.session, o.name); });
  cancel->add_option("NAME", o.name, "Study, such as studies/7 or 7")->required();
}

void AddReadingCommands(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* list =
      AddCommand(app, "list", "List studies, newest first", chosen, [&o] { return List(o.session, o.list); });
  list->add_option("--owner", o.list.owner, "Only studies of this user");
  list->add_option("--label", o.list.label, "Only studies with this label");
  list->add_flag("--all", o.list.all, "Include archived studies");
  AddJson(list, o);
  CLI::App* show = AddCommand(app, "show", "Show a study and why runs stopped early", chosen,
                              [&o] { return Show(o.session, o.name); });
  CLI::App* watch = AddCommand(app, "watch", "Follow a study until it ends", chosen,
                               [&o] { return Watch(o.session, o.name, /*tell_answers=*/true); });
  CLI::App* table = AddCommand(app, "table", "Mean over realizations at every point of a study", chosen,
                               [&o] { return Table(o.session, o.name, o.observable, o.csv); });
  for (CLI::App* command : {show, watch, table}) {
    command->add_option("NAME", o.name, "Study, such as studies/7 or 7")->required();
    AddJson(command, o);
  }
  table->add_option("--observable", o.observable, "Observable to average; default spinner_weight_average_size");
  table->add_flag("--csv", o.csv, "Print CSV");
  CLI::App* series = AddCommand(app, "series", "Print the samples of a run", chosen, [&o] {
    return Measured(o, [&](const auto& again) { return Series(o.session, o.name, o.csv, again); });
  });
  series->add_option("RUN", o.name, "Run, such as studies/7/runs/3 or 7/3")->required();
  series->add_flag("--csv", o.csv, "Print CSV");
  AddMeasureOptions(series, o);
  AddJson(series, o);
  CLI::App* frame = AddCommand(app, "frame", "Write a frame of a run to a file", chosen,
                               [&o] { return Frame(o.session, o.name, o.file, o.step, o.window); });
  frame->add_option("RUN", o.name, "Run, such as studies/7/runs/3 or 7/3")->required();
  frame->add_option("FILE", o.file, "File that ends in .vtp (VTK XML PolyData) or .csv")->required();
  frame->add_option("--window", o.window, "Part of the bed in sigma: lower corner and size; may cross the sides")
      ->expected(4)
      ->type_name("X Y WIDTH HEIGHT");
  frame->add_option("--step", o.step, "Step of a kept frame or state, or the nearest before it; default: the newest");
  AddJson(frame, o);
  AddJson(AddCommand(app, "queue", "Show the queue and how much each user has used", chosen,
                     [&o] { return Queue(o.session); }),
          o);
  CLI::App* machine = AddCommand(app, "machine", "Show the machine and what it is doing", chosen, [&o] {
    return ShowMachine(o.session, o.drain || o.work ? std::optional(o.drain) : std::nullopt);
  });
  AddJson(machine, o);
  CLI::Option* drain = machine->add_flag("--drain", o.drain, "Operator: save all runs and start no more");
  machine->add_flag("--work", o.work, "Operator: resume work")->excludes(drain);
}

void AddSteeringCommands(CLI::App& app, Options& o, Run* chosen) {
  const auto with_run = [&](CLI::App* command) {
    command->add_option("RUN", o.name, "Run, such as studies/7/runs/3 or 7/3")->required();
    return command;
  };
  const auto with_either = [&](CLI::App* command) {
    command->add_option("NAME", o.name, "Run such as 7/3, or study such as 7 for all its runs")->required();
    return command;
  };
  CLI::App* adjust = with_either(AddCommand(app, "adjust", "Adjust fields of a live run", chosen,
                                            [&o] { return Adjust(o.session, o.name, o.adjust); }));
  adjust->add_option("CHANGE", o.adjust.changes, "FIELD=VALUE, such as drive.sine.amplitude=20")->required();
  adjust->add_option("--at", o.adjust.at, "Time of the run in tau; default: now");
  adjust->add_option("--ramp", o.adjust.ramp, "Duration of a linear ramp in tau; default: at once");
  adjust->add_option("--etag", o.adjust.etag, "Refuse if someone else has changed the run since");
  AddJson(adjust, o);
  AddJson(with_run(AddCommand(app, "journal", "List what users did to a run", chosen,
                              [&o] { return Journal(o.session, o.name); })),
          o);
  with_either(AddCommand(app, "pause", "Pause a run, or all runs of a study", chosen,
                         [&o] { return Pause(o.session, o.name); }));
  with_either(AddCommand(app, "resume", "Resume paused runs", chosen, [&o] { return Resume(o.session, o.name); }));
  with_run(AddCommand(app, "finish", "End a run now; it counts as finished", chosen,
                      [&o] { return Finish(o.session, o.name); }));
  with_run(AddCommand(app, "extend", "Extend a run, even after its end", chosen,
                      [&o] { return Extend(o.session, o.name, o.time); }))
      ->add_option("TIME", o.time, "Time to add, in tau")
      ->required();
  with_run(AddCommand(app, "save", "Save the state of a run; prints its name, for [start.saved]", chosen,
                      [&o] { return Save(o.session, o.name); }));
  with_run(AddCommand(app, "branch", "Submit a study that starts from the present state of a run; prints its name",
                      chosen, [&o] { return Branch(o.session, o.name, o.file); }))
      ->add_option("FILE", o.file, "Study file without [start.saved]; its bed is that of the run")
      ->required();
  with_run(AddCommand(app, "replay", "Repeat a run with its whole journal and compare every bit", chosen,
                      [&o] { return Replay(o.session, o.name); }));
  with_either(AddCommand(app, "prioritize", "Move your queued runs before or behind your other ones", chosen,
                         [&o] { return Prioritize(o.session, o.name, o.priority); }))
      ->add_option("PRIORITY", o.priority, "-100 to 100; the highest comes first")
      ->required()
      ->check(CLI::Range(-100, 100));
}

CLI::App* WithStudy(CLI::App* command, Options& o) {
  command->add_option("NAME", o.name, "Study, such as studies/7 or 7")->required();
  return command;
}

void AddKeepingCommands(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* grow = WithStudy(AddCommand(app, "grow", "Add realizations, values of an axis, or an axis to a study",
                                        chosen, [&o] { return Grow(o.session, o.name, o.trials, o.words); }),
                             o);
  grow->add_option("--trials", o.trials, "Realizations to add at every point");
  grow->add_option("AXIS", o.words, "FIELD=VALUE,VALUE,... such as drive.sine.amplitude=36,40");
  WithStudy(AddCommand(app, "note", "Write a note on a study; an empty one removes it", chosen,
                       [&o] { return Note(o.session, o.name, o.text); }),
            o)
      ->add_option("TEXT", o.text, "Text of the note")
      ->required();
  CLI::App* label = WithStudy(AddCommand(app, "label", "Add and remove labels of a study; prints its labels", chosen,
                                         [&o] { return Label(o.session, o.name, o.words, o.dropped); }),
                              o);
  label->add_option("WORD", o.words, "Labels to add");
  label->add_option("--drop", o.dropped, "Labels to remove");
  CLI::App* exclude = AddCommand(app, "exclude", "Exclude a run from every average; it is kept and shown", chosen,
                                 [&o] { return Exclude(o.session, o.name, o.undo ? std::nullopt : o.why); });
  exclude->add_option("RUN", o.name, "Run, such as studies/7/runs/3 or 7/3")->required();
  CLI::Option_group* how = exclude->add_option_group("how");
  how->add_option("--why", o.why, "Reason, in one line");
  how->add_flag("--undo", o.undo, "Include it again");
  how->require_option(1);
  WithStudy(AddCommand(app, "archive", "Archive a study: not listed, and never deleted by age or for space", chosen,
                       [&o] { return Archive(o.session, o.name, o.undo); }),
            o)
      ->add_flag("--undo", o.undo, "Restore it");
  WithStudy(AddCommand(app, "delete", "Delete a study with all its data, permanently", chosen,
                       [&o] { return Delete(o.session, o.name, o.yes); }),
            o)
      ->add_flag("--yes", o.yes, "Do not ask");
}

void AddReportCommand(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* report =
      AddCommand(app, "report", "Write the answers of a study and the data of its plots to a folder", chosen, [&o] {
        return Measured(o, [&](const auto& again) {
          v1::AnalysisOptions asked = o.analysis;
          if (again) *asked.mutable_measure_again() = *again;
          return Report(o.session, o.name, o.directory, asked);
        });
      });
  report->add_option("NAME", o.name, "Study, such as studies/7 or 7")->required();
  report->add_option("DIR", o.directory, "Folder; created if it does not exist")->required();
  v1::AnalysisOptions& a = o.analysis;
  const auto number = [&](const char* name, void (v1::AnalysisOptions::*set)(double), const char* help) {
    report->add_option_function<double>(
        name, [&a, set](double value) { (a.*set)(value); }, help);
  };
  report->add_option_function<std::string>(
      "--observable", [&a](const std::string& name) { a.set_observable(name); },
      "Observable used as the size; default spinner_weight_average_size");
  number("--equal-fraction", &v1::AnalysisOptions::set_equal_fraction,
         "Fraction by which equal sizes may differ; default 0.25");
  number("--onset-factor", &v1::AnalysisOptions::set_onset_factor,
         "Onset threshold over the size without drive; default 1.5");
  number("--change-factor", &v1::AnalysisOptions::set_change_factor,
         "Factor of growth and shrinkage to look for; default 2");
  report->add_option_function<std::string>(
      "--fresh", [&a](const std::string& name) { a.set_fresh_study(StudyName(name)); },
      "Study with as-prepared samples to compare stages with");
  AddMeasureOptions(report, o);
  AddJson(report, o);
}

void AddUserCommands(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* users = app.add_subcommand("users", "Manage who may call the server; for its admins");
  users->fallthrough();
  users->require_subcommand(1);
  CLI::App* add = AddCommand(*users, "add", "Create a token for a user; prints only the token, once", chosen,
                             [&o] { return AddUser(o.session, o.name, o.admin, o.days); });
  add->add_option("NAME", o.name, "User of the token")->required();
  add->add_flag("--admin", o.admin, "May change everyone's studies, and create and revoke tokens");
  add->add_option("--days", o.days, "Days after which it expires; default: never")->check(CLI::Range(1, 3650));
  AddJson(AddCommand(*users, "list", "List all tokens", chosen, [&o] { return ListUsers(o.session); }), o);
  CLI::App* revoke = AddCommand(*users, "revoke", "Revoke a token, or all tokens of a user, at once", chosen,
                                [&o] { return RevokeUser(o.session, o.name); });
  revoke->add_option("WHO", o.name, "A user, or a token such as tokens/3 or 3")->required();
}

void AddServerOptions(CLI::App& app, Options& o) {
  app.add_option("--server", o.session.server.address, "HOST:PORT of the server")
      ->envname("GYREBOX_SERVER")
      ->capture_default_str();
  app.add_option("--tls-ca", o.authority_file, "CA certificate of the server (PEM file); turns TLS on")
      ->envname("GYREBOX_TLS_CA");
  app.add_option("--token-file", o.token_file, "File with your token; default: the token in GYREBOX_TOKEN")
      ->needs("--tls-ca");
}

void AddUnitsCommand(CLI::App& app, UnitsInput& in, Run* chosen) {
  CLI::App* units = AddCommand(app, "units", "Convert between reduced and laboratory units; needs no server", chosen,
                               [&in] { return Units(in); });
  units->add_option("--diameter-um", in.diameter_um, "Diameter of a bead in micrometres");
  units->add_option("--viscosity-mpa-s", in.viscosity_mpa_s, "Viscosity in mPa s")->capture_default_str();
  units->add_option("--temperature-k", in.temperature_k, "Temperature in kelvin")->capture_default_str();
  units->add_option("--reduced-temperature", in.reduced_temperature, "The study's thermal.temperature, in epsilon")
      ->capture_default_str();
  units->add_option("--field-mt", in.field_mt, "Peak of the magnetic field in mT");
  units->add_option("--moment-am2", in.moment_am2, "Magnetic moment of a spinner in A m^2");
  units->add_option("--frequency-hz", in.frequency_hz, "Frequency of the field in Hz");
  units->add_option("--rate,--amplitude", in.rate, "Angular velocity, or amplitude of a rate drive, in rad/tau");
  units->add_option("--torque", in.torque, "Torque, or amplitude of a torque drive, in epsilon");
  units->add_option("--frequency", in.frequency, "Frequency in cycles/tau");
  units->add_option("--time", in.time, "Time in tau");
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  Run chosen;
  CLI::App app("Submits studies to a gyreboxd server, follows them and reads their results.", "gyrebox");
  app.set_version_flag("--version", GYREBOX_VERSION);
  app.require_subcommand(1);
  AddServerOptions(app, options);
  AddStudyCommands(app, options, &chosen);
  AddReadingCommands(app, options, &chosen);
  AddSteeringCommands(app, options, &chosen);
  AddKeepingCommands(app, options, &chosen);
  AddReportCommand(app, options, &chosen);
  AddUserCommands(app, options, &chosen);
  AddUnitsCommand(app, options.units, &chosen);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? kDone : kBadInput;
  }
  const std::string fault = FillEndpoint(options.authority_file, options.token_file, &options.session.server);
  if (!fault.empty()) {
    std::cerr << "gyrebox: " << fault << "\n";
    return kBadInput;
  }
  return chosen();
}
