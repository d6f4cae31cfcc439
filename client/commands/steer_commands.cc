#include <absl/strings/numbers.h>

#include <iostream>
#include <set>

#include "commands/registry.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/adjustment_text.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

/// Adjustment of runs.
struct AdjustInput {
  std::vector<std::string> changes;  ///< FIELD=VALUE
  std::optional<double> at, ramp;    ///< tau
  std::string etag;
};

/// studies/7/runs/3 from 7/3, or studies/7 from 7.
static std::string EitherName(const std::string& given) { return RunName(given); }

static bool NamesRun(const std::string& name) { return name.find("/runs/") != std::string::npos; }

static bool ParseChange(const std::string& text, v1::FieldChange* change) {
  const size_t at = text.find('=');
  double value = 0;
  if (at == 0 || at == std::string::npos || !absl::SimpleAtod(text.substr(at + 1), &value)) {
    std::cerr << "gyrebox: " << schema::Visible(text)
              << " is not a change; give FIELD=VALUE, such as drive.sine.amplitude=20\n";
    return false;
  }
  change->set_field(text.substr(0, at));
  change->set_value(value);
  return true;
}

/// What an entry did, such as "paused" or "amplitude 10 -> 20, temperature 0 -> 0.01 over 2 tau".
static std::string WhatText(const v1::Adjustment& entry) {
  const std::string participle = schema::Participle(entry.kind());
  if (entry.kind() == v1::Adjustment::KIND_EXTEND) {
    return participle + " to " + std::to_string(entry.total_steps()) + " steps";
  }
  if (entry.kind() == v1::Adjustment::KIND_WITHDRAW) return "withdrew " + std::to_string(entry.withdrawn_entry());
  if (entry.kind() != v1::Adjustment::KIND_CHANGE) return participle;
  std::string text = schema::ChangesText(entry.before(), entry.change());
  if (entry.ramp_steps() == 0) return text;
  text += " over " + std::to_string(entry.ramp_steps()) + " steps";
  const double step_time = entry.step() > 0 ? entry.time() / static_cast<double>(entry.step()) : 0;
  if (step_time > 0) text += ", " + schema::NumberText(static_cast<double>(entry.ramp_steps()) * step_time, 4) + " tau";
  return text;
}

static ExitCode Adjust(const Session& session, const std::string& name, const AdjustInput& input) {
  v1::AdjustRunsRequest request;
  request.set_name(EitherName(name));
  for (const std::string& text : input.changes) {
    if (!ParseChange(text, request.add_changes())) return kBadInput;
  }
  if (input.at) request.set_time(*input.at);
  request.set_ramp_time(input.ramp.value_or(0));
  request.set_etag(input.etag);
  const auto adjusted = Client(session.server).AdjustRuns(request);
  if (!adjusted.ok()) return ReportRequest(session, adjusted.status());
  if (session.json) {
    PrintJson(*adjusted);
    return kDone;
  }
  for (const v1::Adjustment& entry : adjusted->adjustments()) {
    std::cout << schema::Visible(entry.name()) << ": " << WhatText(entry) << " from step " << entry.step()
              << ", t = " << schema::NumberText(entry.time(), 6) << " tau\n";
    if (!entry.warning().empty()) std::cerr << "warning: " << schema::Visible(entry.warning()) << "\n";
  }
  const int told = adjusted->adjustments_size();
  if (adjusted->run_count() > told) std::cout << "... and " << adjusted->run_count() - told << " more\n";
  if (!NamesRun(request.name())) std::cout << Plural(adjusted->run_count(), "run") << " changed\n";
  return kDone;
}

static ExitCode Journal(const Session& session, const std::string& run) {
  const auto journal = Client(session.server).ListAdjustments(RunName(run));
  if (!journal.ok()) return Report(session, journal.status());
  if (session.json) {
    PrintJson(*journal);
    return kDone;
  }
  if (journal->adjustments().empty()) {
    std::cout << "Nobody has changed " << schema::Visible(RunName(run)) << ".\n";
    return kDone;
  }
  std::vector<Row> rows = {{"", "who", "when", "step", "time [tau]", "what"}};
  std::set<int64_t> withdrawn;
  for (const v1::Adjustment& entry : journal->adjustments()) withdrawn.insert(entry.withdrawn_entry());
  for (int i = 0; i < journal->adjustments_size(); ++i) {
    const v1::Adjustment& entry = journal->adjustments(i);
    rows.push_back({LastPart(entry.name()), entry.user(), TimeText(entry.create_time()), std::to_string(entry.step()),
                    schema::NumberText(entry.time(), 6),
                    WhatText(entry) + (withdrawn.contains(i + 1) ? "; withdrawn" : "")});
  }
  WriteAligned(std::cout, rows,
               {Align::kRight, Align::kLeft, Align::kLeft, Align::kRight, Align::kRight, Align::kLeft});
  return kDone;
}

/// Prints the state of a run after a change.
static ExitCode Tell(const Session& session, const absl::StatusOr<v1::Run>& run) {
  if (!run.ok()) return Report(session, run.status());
  std::cerr << run->name() << ": " << StateText(run->state()) << " at step " << run->step() << " of "
            << run->total_steps() << "\n";
  return kDone;
}

static ExitCode Tell(const Session& session, const absl::StatusOr<v1::Study>& study) {
  if (!study.ok()) return Report(session, study.status());
  std::cerr << study->name() << ": " << CountsText(study->run_counts()) << "\n";
  return kDone;
}

static ExitCode Pause(const Session& session, const std::string& given) {
  Client client(session.server);
  const std::string name = EitherName(given);
  return NamesRun(name) ? Tell(session, client.PauseRun(name)) : Tell(session, client.PauseStudy(name));
}

static ExitCode Resume(const Session& session, const std::string& given) {
  Client client(session.server);
  const std::string name = EitherName(given);
  return NamesRun(name) ? Tell(session, client.ResumeRun(name)) : Tell(session, client.ResumeStudy(name));
}

static ExitCode Finish(const Session& session, const std::string& run) {
  return Tell(session, Client(session.server).FinishRun(RunName(run)));
}

static ExitCode Extend(const Session& session, const std::string& given, double time) {
  Client client(session.server);
  const std::string name = EitherName(given);
  return NamesRun(name) ? Tell(session, client.ExtendRun(name, time)) : Tell(session, client.ExtendStudy(name, time));
}

static ExitCode Withdraw(const Session& session, const std::string& run, int64_t entry) {
  const std::string name = RunName(run) + "/adjustments/" + std::to_string(entry);
  const auto withdrawn = Client(session.server).WithdrawAdjustment(name);
  if (!withdrawn.ok()) return Report(session, withdrawn.status());
  std::cerr << schema::Visible(name) << ": withdrawn\n";
  return kDone;
}

static ExitCode Restart(const Session& session, const std::string& given) {
  const std::string name = EitherName(given);
  const auto restarted = Client(session.server).RestartRuns(name);
  if (!restarted.ok()) return Report(session, restarted.status());
  std::cerr << schema::Visible(name) << ": " << Plural(restarted->run_count(), "cancelled run") << " queued again\n";
  return kDone;
}

static ExitCode Save(const Session& session, const std::string& run) {
  const auto state = Client(session.server).SaveRun(RunName(run));
  if (!state.ok()) return Report(session, state.status());
  std::cout << state->name() << "\n";
  return kDone;
}

void RegisterSteerCommands(Registry& registry) {
  struct Options {
    std::string name;
    AdjustInput adjust;
    double time = 0;
    int64_t entry = 0;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* adjust =
      TakeStudyOrRun(registry.AddWithJson("adjust", "Adjust fields of a live run",
                                          [o](const Session& session) { return Adjust(session, o->name, o->adjust); }),
                     &o->name);
  adjust->add_option("CHANGE", o->adjust.changes, "FIELD=VALUE, such as drive.sine.amplitude=20")->required();
  adjust->add_option("--at", o->adjust.at, "Time of the run in tau; default: now");
  adjust->add_option("--ramp", o->adjust.ramp, "Duration of a linear ramp in tau; default: at once");
  adjust->add_option("--etag", o->adjust.etag, "Refuse if someone else has changed the run since");
  const auto of = [o](ExitCode (*run)(const Session&, const std::string&)) {
    return [o, run](const Session& session) { return run(session, o->name); };
  };
  TakeRun(registry.AddWithJson("journal", "List what users did to a run", of(Journal)), &o->name);
  TakeRun(registry.Add("withdraw", "Withdraw a planned change of a run",
                       [o](const Session& session) { return Withdraw(session, o->name, o->entry); }),
          &o->name)
      ->add_option("ENTRY", o->entry, "Number of the change in gyrebox journal")
      ->required();
  TakeStudyOrRun(registry.Add("pause", "Pause a run, or all runs of a study", of(Pause)), &o->name);
  TakeStudyOrRun(registry.Add("resume", "Resume paused runs", of(Resume)), &o->name);
  TakeRun(registry.Add("finish", "End a run now; it counts as finished", of(Finish)), &o->name);
  TakeStudyOrRun(registry.Add("restart", "Start cancelled runs again", of(Restart)), &o->name);
  TakeStudyOrRun(registry.Add("extend", "Extend runs, even after their end",
                              [o](const Session& session) { return Extend(session, o->name, o->time); }),
                 &o->name)
      ->add_option("TIME", o->time, "Time to add, in tau")
      ->required();
  TakeRun(registry.Add("save", "Save the state of a run; prints its name, for [start.saved]", of(Save)), &o->name);
}

}  // namespace gyrebox::client
