// gyrebox: options, and which command they name.
#include <CLI/CLI.hpp>
#include <functional>
#include <iostream>
#include <optional>
#include <string>

#include "cli/commands.h"
#include "cli/endpoint.h"
#include "cli/measure_options.h"
#include "cli/text.h"

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
  command->add_flag("--json", options.session.json, "Print the API's own JSON");
}

/// Does what a command does, with how frames are to be measured again if that was asked for.
ExitCode Measured(const Options& o, const std::function<ExitCode(const std::optional<v1::MeasureAgain>&)>& run) {
  std::string fault;
  const auto again = ToMeasureAgain(o.measure, &fault);
  if (fault.empty()) return run(again);
  std::cerr << "gyrebox: " << fault << "\n";
  return kBadInput;
}

void AddMeasureOptions(CLI::App* command, Options& o) {
  command->add_option("--bond-length", o.measure.bond_length,
                      "Measure the kept frames again: up to this distance in sigma spinners belong to one cluster");
  command->add_option("--wave-shells", o.measure.wave_shells,
                      "Measure the kept frames again: FIRST:LAST, shells looked through for the peak of S(k)");
}

void AddStudyCommands(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* check = AddCommand(app, "check", "Check a study file and say what it would take", chosen,
                               [&o] { return Check(o.session, o.name); });
  check->add_option("FILE", o.name, "Study file")->required();
  AddJson(check, o);
  CLI::App* submit = AddCommand(app, "submit", "Submit a study; prints its name", chosen,
                                [&o] { return Submit(o.session, o.name, o.watch); });
  submit->add_option("FILE", o.name, "Study file")->required();
  submit->add_flag("--watch", o.watch, "Follow it to its end");
  CLI::App* cancel = AddCommand(app, "cancel", "Cancel a study; what was measured stays", chosen,
                                [&o] { return Cancel(o.session, o.name); });
  cancel->add_option("NAME", o.name, "Study, such as studies/7 or 7")->required();
}

void AddReadingCommands(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* list =
      AddCommand(app, "list", "List studies, newest first", chosen, [&o] { return List(o.session, o.list); });
  list->add_option("--owner", o.list.owner, "Only those of this person");
  list->add_option("--label", o.list.label, "Only those with this label");
  list->add_flag("--all", o.list.all, "Archived ones too");
  AddJson(list, o);
  CLI::App* show = AddCommand(app, "show", "Show a study and why runs stopped early", chosen,
                              [&o] { return Show(o.session, o.name); });
  CLI::App* watch = AddCommand(app, "watch", "Follow a study to its end", chosen,
                               [&o] { return Watch(o.session, o.name, /*tell_answers=*/true); });
  CLI::App* table = AddCommand(app, "table", "Mean over trials at every point of a study", chosen,
                               [&o] { return Table(o.session, o.name, o.observable, o.csv); });
  for (CLI::App* command : {show, watch, table}) {
    command->add_option("NAME", o.name, "Study, such as studies/7 or 7")->required();
    AddJson(command, o);
  }
  table->add_option("--observable", o.observable, "What to average; spinner_weight_average_size if not given");
  table->add_flag("--csv", o.csv, "Print CSV");
  CLI::App* series = AddCommand(app, "series", "Print what a run measured, sample by sample", chosen, [&o] {
    return Measured(o, [&](const auto& again) { return Series(o.session, o.name, o.csv, again); });
  });
  series->add_option("RUN", o.name, "Run, such as studies/7/runs/3 or 7/3")->required();
  series->add_flag("--csv", o.csv, "Print CSV");
  AddMeasureOptions(series, o);
  AddJson(series, o);
  CLI::App* frame = AddCommand(app, "frame", "Write a picture of a run's bed into a file", chosen,
                               [&o] { return Frame(o.session, o.name, o.file, o.step, o.window); });
  frame->add_option("RUN", o.name, "Run, such as studies/7/runs/3 or 7/3")->required();
  frame->add_option("FILE", o.file, "File that ends in .vtp (VTK XML PolyData) or .csv")->required();
  frame->add_option("--window", o.window, "Part of the bed in sigma: lower corner and size; may reach over the sides")
      ->expected(4)
      ->type_name("X Y WIDTH HEIGHT");
  frame->add_option("--step", o.step, "Kept frame or state of this step, or the one before; the newest if not given");
  AddJson(frame, o);
  AddJson(AddCommand(app, "queue", "Show whose turn it is, and who used how much", chosen,
                     [&o] { return Queue(o.session); }),
          o);
  CLI::App* box = AddCommand(app, "box", "Show the machine and what it is doing", chosen, [&o] {
    return ShowBox(o.session, o.drain || o.work ? std::optional(o.drain) : std::nullopt);
  });
  AddJson(box, o);
  CLI::Option* drain = box->add_flag("--drain", o.drain, "Operator: save all runs and start no more");
  box->add_flag("--work", o.work, "Operator: let it work again")->excludes(drain);
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
  CLI::App* adjust = with_either(AddCommand(app, "adjust", "Change fields of a run while it runs", chosen,
                                            [&o] { return Adjust(o.session, o.name, o.adjust); }));
  adjust->add_option("CHANGE", o.adjust.changes, "FIELD=VALUE, such as drive.sine.amplitude=20")->required();
  adjust->add_option("--at", o.adjust.at, "Time of the run in tau; now if not given");
  adjust->add_option("--ramp", o.adjust.ramp, "Time in tau to get there evenly; at once if not given");
  adjust->add_option("--etag", o.adjust.etag, "Refuse where someone else has changed the run since");
  AddJson(adjust, o);
  AddJson(with_run(AddCommand(app, "journal", "List what people did to a run", chosen,
                              [&o] { return Journal(o.session, o.name); })),
          o);
  with_either(
      AddCommand(app, "pause", "Hold a run, or all of a study", chosen, [&o] { return Pause(o.session, o.name); }));
  with_either(AddCommand(app, "resume", "Let held runs go on", chosen, [&o] { return Resume(o.session, o.name); }));
  with_run(AddCommand(app, "finish", "End a run where it is now; it counts as finished", chosen,
                      [&o] { return Finish(o.session, o.name); }));
  with_run(AddCommand(app, "extend", "Give a run more time, also after its end", chosen,
                      [&o] { return Extend(o.session, o.name, o.time); }))
      ->add_option("TIME", o.time, "Time to add, in tau")
      ->required();
  with_run(AddCommand(app, "save", "Keep the state of a run; prints its name, for [start.saved]", chosen,
                      [&o] { return Save(o.session, o.name); }));
  with_run(AddCommand(app, "branch", "Submit a study that starts where a run is now; prints its name", chosen,
                      [&o] { return Branch(o.session, o.name, o.file); }))
      ->add_option("FILE", o.file, "Study file, without [start.saved]; its bed is that of the run")
      ->required();
  with_run(AddCommand(app, "replay", "Do a run once more, with all that was done to it, and compare every bit", chosen,
                      [&o] { return Replay(o.session, o.name); }));
  with_either(AddCommand(app, "prioritize", "Move your waiting runs before or behind others of yours", chosen,
                         [&o] { return Prioritize(o.session, o.name, o.priority); }))
      ->add_option("PRIORITY", o.priority, "-100 to 100; those of the highest come first")
      ->required()
      ->check(CLI::Range(-100, 100));
}

CLI::App* WithStudy(CLI::App* command, Options& o) {
  command->add_option("NAME", o.name, "Study, such as studies/7 or 7")->required();
  return command;
}

void AddKeepingCommands(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* grow = WithStudy(AddCommand(app, "grow", "Add trials, values of an axis, or an axis to a study", chosen,
                                        [&o] { return Grow(o.session, o.name, o.trials, o.words); }),
                             o);
  grow->add_option("--trials", o.trials, "Trials to add at every point");
  grow->add_option("AXIS", o.words, "FIELD=VALUE,VALUE,... such as drive.sine.amplitude=36,40");
  WithStudy(AddCommand(app, "note", "Write a note on a study; an empty one takes it off", chosen,
                       [&o] { return Note(o.session, o.name, o.text); }),
            o)
      ->add_option("TEXT", o.text, "What to note")
      ->required();
  CLI::App* label = WithStudy(AddCommand(app, "label", "Put labels on a study and take others off; prints what it has",
                                         chosen, [&o] { return Label(o.session, o.name, o.words, o.dropped); }),
                              o);
  label->add_option("WORD", o.words, "Labels to put on");
  label->add_option("--drop", o.dropped, "Labels to take off");
  CLI::App* exclude = AddCommand(app, "exclude", "Leave a run out of every average; it stays and is shown", chosen,
                                 [&o] { return Exclude(o.session, o.name, o.undo ? std::nullopt : o.why); });
  exclude->add_option("RUN", o.name, "Run, such as studies/7/runs/3 or 7/3")->required();
  CLI::Option_group* how = exclude->add_option_group("how");
  how->add_option("--why", o.why, "Why, in one line");
  how->add_flag("--undo", o.undo, "Let it count again");
  how->require_option(1);
  WithStudy(AddCommand(app, "archive", "Put a study away: not listed, and never deleted by age or for space", chosen,
                       [&o] { return Archive(o.session, o.name, o.undo); }),
            o)
      ->add_flag("--undo", o.undo, "Take it back");
  WithStudy(AddCommand(app, "delete", "Delete a study with all that it measured, for good", chosen,
                       [&o] { return Delete(o.session, o.name, o.yes); }),
            o)
      ->add_flag("--yes", o.yes, "Do not ask");
}

void AddReportCommand(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* report =
      AddCommand(app, "report", "Write what a study answers, and the data of its plots, into a folder", chosen, [&o] {
        return Measured(o, [&](const auto& again) {
          v1::AnalysisOptions asked = o.analysis;
          if (again) *asked.mutable_measure_again() = *again;
          return Report(o.session, o.name, o.directory, asked);
        });
      });
  report->add_option("NAME", o.name, "Study, such as studies/7 or 7")->required();
  report->add_option("DIR", o.directory, "Folder; it is made where there is none")->required();
  v1::AnalysisOptions& a = o.analysis;
  const auto number = [&](const char* name, void (v1::AnalysisOptions::*set)(double), const char* help) {
    report->add_option_function<double>(
        name, [&a, set](double value) { (a.*set)(value); }, help);
  };
  report->add_option_function<std::string>(
      "--observable", [&a](const std::string& name) { a.set_observable(name); },
      "What sizes are; spinner_weight_average_size if not given");
  number("--equal-share", &v1::AnalysisOptions::set_equal_share, "Share by which equal sizes may differ; 0.25");
  number("--onset-factor", &v1::AnalysisOptions::set_onset_factor, "Sizes without drive at which it takes over; 1.5");
  number("--change-factor", &v1::AnalysisOptions::set_change_factor, "Factor of growth and shrinking asked for; 2");
  report->add_option_function<std::string>(
      "--fresh", [&a](const std::string& name) { a.set_fresh_study(StudyName(name)); },
      "Study whose beds are fresh ones to compare stages with");
  AddMeasureOptions(report, o);
  AddJson(report, o);
}

void AddPeopleCommands(CLI::App& app, Options& o, Run* chosen) {
  CLI::App* people = app.add_subcommand("people", "Who may call the server; for its admins");
  people->fallthrough();
  people->require_subcommand(1);
  CLI::App* add = AddCommand(*people, "add", "Make a token for a person; prints it, once and alone", chosen,
                             [&o] { return AddPerson(o.session, o.name, o.admin, o.days); });
  add->add_option("NAME", o.name, "Who the token is for")->required();
  add->add_flag("--admin", o.admin, "May change everyone's studies, and make and revoke tokens");
  add->add_option("--days", o.days, "Days after which it ends; never if not given")->check(CLI::Range(1, 3650));
  AddJson(AddCommand(*people, "list", "List all tokens", chosen, [&o] { return ListPeople(o.session); }), o);
  CLI::App* revoke = AddCommand(*people, "revoke", "End a token, or all of a person, at once", chosen,
                                [&o] { return RevokePerson(o.session, o.name); });
  revoke->add_option("WHO", o.name, "A person, or a token such as tokens/3 or 3")->required();
}

void AddServerOptions(CLI::App& app, Options& o) {
  app.add_option("--server", o.session.server.address, "HOST:PORT of the server")
      ->envname("GYREBOX_SERVER")
      ->capture_default_str();
  app.add_option("--tls-ca", o.authority_file, "File of who vouches for the server's certificate (PEM); turns TLS on")
      ->envname("GYREBOX_TLS_CA");
  app.add_option("--token-file", o.token_file, "File that holds your token; else it is taken from GYREBOX_TOKEN")
      ->needs("--tls-ca");
}

void AddUnitsCommand(CLI::App& app, UnitsInput& in, Run* chosen) {
  CLI::App* units = AddCommand(app, "units", "Convert between reduced units and those of a laboratory; needs no server",
                               chosen, [&in] { return Units(in); });
  units->add_option("--diameter-um", in.diameter_um, "Diameter of a bead in micrometres");
  units->add_option("--viscosity-mpa-s", in.viscosity_mpa_s, "Viscosity in mPa s")->capture_default_str();
  units->add_option("--temperature-k", in.temperature_k, "Temperature in kelvin")->capture_default_str();
  units->add_option("--reduced-temperature", in.reduced_temperature, "The study's thermal.temperature, in epsilon")
      ->capture_default_str();
  units->add_option("--field-mt", in.field_mt, "Peak of the magnetic field in mT");
  units->add_option("--moment-am2", in.moment_am2, "Magnetic moment of a spinner in A m^2");
  units->add_option("--frequency-hz", in.frequency_hz, "Frequency of the field in Hz");
  units->add_option("--rate,--amplitude", in.rate, "Rate of turning, or amplitude of a drive of the rate, in rad/tau");
  units->add_option("--torque", in.torque, "Torque, or amplitude of a drive of the torque, in epsilon");
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
  AddPeopleCommands(app, options, &chosen);
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
