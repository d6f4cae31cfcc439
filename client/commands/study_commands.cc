#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <optional>
#include <sstream>

#include "commands/registry.h"
#include "commands/watch.h"
#include "output/cautions.h"
#include "output/stages.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

static std::optional<StudyFile> ReadStudyFile(const std::string& path) {
  std::error_code ignored;
  const std::ifstream in(path, std::ios::binary);
  if (!in.is_open() || std::filesystem::is_directory(path, ignored)) {
    std::cerr << "gyrebox: cannot read " << schema::Visible(path) << "\n";
    return std::nullopt;
  }
  std::ostringstream text;
  text << in.rdbuf();
  return ParseStudyFile(text.str());
}

/// Reports the faults of a file that could not be fully read, and those that the server finds in the rest.
static ExitCode ReportUnread(Client& client, const std::string& path, const StudyFile& file) {
  std::vector<v1::FieldViolation> violations;
  if (file.is_toml) {
    if (const auto checked = client.CheckStudy(file.spec); checked.ok()) {
      violations.assign(checked->field_violations().begin(), checked->field_violations().end());
    }
  }
  return Report(path, file.AllFaults(violations));
}

/// "4 runs more, at 1 point with half the time step; 12 % more work", or why there is no audit.
static std::string AuditText(const v1::CheckStudyResponse& checked) {
  const v1::Estimate& estimate = checked.estimate();
  if (!(checked.spec().audit().max_cost() > 0)) return "none; see audit.max_cost";
  if (estimate.audit_run_count() == 0) return "none: " + estimate.audit_note();
  return Plural(estimate.audit_run_count(), "run") + " more, at " + Plural(estimate.audited_point_count(), "point") +
         " with half the time step; " + schema::NumberText(100 * estimate.audit_cost(), 2) + " % more work";
}

/// Such as "1.2e-4 to 5e-4 tau, first and second order, lagged; set by the stiffest contacts".
static std::string TimeStepText(const v1::TimeSteps& steps) {
  const auto number = [](double value) { return schema::NumberText(value, 3); };
  std::string text = number(steps.shortest());
  if (steps.longest() > steps.shortest()) text += " to " + number(steps.longest());
  const auto has = [&](int order) { return std::ranges::count(steps.orders(), order) > 0; };
  text += has(1) && has(2) ? " tau, first and second order" : has(1) ? " tau, first order" : " tau, second order";
  for (const std::string& solver : steps.solvers()) text += ", " + solver;
  std::string limits;
  for (const std::string& limit : steps.limits()) limits += (limits.empty() ? "" : "; ") + limit;
  if (!steps.given()) return text + "; set by " + limits;
  return text + "; given (the rule: " + number(steps.shortest_by_rule()) + " tau, set by " + limits + ")";
}

static void PrintEstimate(const std::string& path, const v1::CheckStudyResponse& checked) {
  const v1::Estimate& estimate = checked.estimate();
  const int64_t trials = checked.spec().trials().count();
  const auto number = [](double value) { return schema::NumberText(value, 3); };
  std::cout << schema::Visible(path) << " can run.\n";
  WriteAligned(std::cout,
               {{"  runs", std::to_string(estimate.run_count()) + " (" +
                               Plural((estimate.run_count() - estimate.audit_run_count()) / trials, "point") + ", " +
                               Plural(trials, "realization") + " each" +
                               (estimate.audit_run_count() > 0 ? "; and the audit" : "") + ")"},
                {"  audit", AuditText(checked)},
                {"  beads", std::to_string(estimate.bead_count()) + " in a run"},
                {"  steps", number(static_cast<double>(estimate.step_count())) + " in total, " +
                                number(estimate.bead_steps()) + " bead-steps"},
                {"  time step", TimeStepText(checked.time_steps())},
                {"  memory", BytesText(static_cast<double>(estimate.memory_bytes())) + " if all run at once"},
                {"  disk", BytesText(static_cast<double>(estimate.disk_bytes()))},
                {"  time", AboutText(estimate.duration_seconds()) + " on this machine alone (" +
                               estimate.duration_basis() + ")"}},
               {Align::kLeft, Align::kLeft});
  WriteStages(std::cout, checked.spec());
  for (const std::string& warning : checked.warnings()) std::cout << "warning: " << schema::Visible(warning) << "\n";
  WriteCautions(std::cout, checked.spec().laboratory());
}

static ExitCode Check(const Session& session, const std::string& path) {
  const auto file = ReadStudyFile(path);
  if (!file) return kBadInput;
  Client client(session.server);
  if (!file->faults.empty()) return ReportUnread(client, path, *file);
  const auto checked = client.CheckStudy(file->spec);
  if (!checked.ok()) return Report(session, checked.status());
  if (session.json) PrintJson(*checked);
  if (checked->field_violations_size() > 0) {
    return Report(path, file->AllFaults({checked->field_violations().begin(), checked->field_violations().end()}));
  }
  if (!session.json) PrintEstimate(path, *checked);
  return kDone;
}

/// Submits the study of a file and prints its name. @param name of the new study.
static ExitCode SubmitFile(const Session& session, Client& client, const std::string& path, const StudyFile& file,
                           std::string* name) {
  if (!file.faults.empty()) return ReportUnread(client, path, file);
  // Without an answer the submission itself says why.
  if (const auto checked = client.CheckStudy(file.spec); checked.ok()) {
    for (const std::string& warning : checked->warnings()) {
      std::cerr << "warning: " << schema::Visible(warning) << "\n";
    }
  }
  const auto study = client.CreateStudy(file.spec);
  if (!study.ok()) {
    const auto violations = ViolationsOf(study.status());
    return violations.empty() ? Report(session, study.status()) : Report(path, file.AllFaults(violations));
  }
  std::cout << study->name() << std::endl;
  WriteCautions(std::cerr, study->spec().laboratory());
  *name = study->name();
  return kDone;
}

static ExitCode Submit(const Session& session, const std::string& path, bool watch) {
  const auto file = ReadStudyFile(path);
  if (!file) return kBadInput;
  Client client(session.server);
  std::string name;
  const ExitCode code = SubmitFile(session, client, path, *file, &name);
  return code == kDone && watch ? Watch(session, name, /*tell_answers=*/false) : code;
}

static ExitCode Branch(const Session& session, const std::string& run, const std::string& path) {
  auto file = ReadStudyFile(path);
  if (!file) return kBadInput;
  Client client(session.server);
  if (file->spec.start().has_saved()) {
    std::cerr << "gyrebox: " << schema::Visible(path)
              << " has its own [start.saved]; remove it: the study starts from the run\n";
    return kBadInput;
  }
  const auto state = client.SaveRun(RunName(run));
  if (!state.ok()) return Report(session, state.status());
  std::cerr << "starts from " << state->name() << "\n";
  file->spec.mutable_start()->mutable_saved()->set_run(state->name());
  std::string name;
  return SubmitFile(session, client, path, *file, &name);
}

static ExitCode Cancel(const Session& session, const std::string& name) {
  const auto study = Client(session.server).CancelStudy(StudyName(name));
  if (!study.ok()) return Report(session, study.status());
  std::cerr << study->name() << ": cancelled; " << CountsText(study->run_counts()) << "\n";
  return kDone;
}

void RegisterStudyCommands(Registry& registry) {
  struct Options {
    std::string file, name;
    bool watch = false;
  };
  const auto o = std::make_shared<Options>();
  registry
      .AddWithJson("check", "Check a study file and estimate its cost",
                   [o](const Session& session) { return Check(session, o->file); })
      ->add_option("FILE", o->file, "Study file")
      ->required();
  CLI::App* submit = registry.Add("submit", "Submit a study; prints its name",
                                  [o](const Session& session) { return Submit(session, o->file, o->watch); });
  submit->add_option("FILE", o->file, "Study file")->required();
  submit->add_flag("--watch", o->watch, "Follow it until it ends");
  TakeStudy(registry.Add("cancel", "Cancel a study; its data so far are kept",
                         [o](const Session& session) { return Cancel(session, o->name); }),
            &o->name);
  TakeRun(registry.Add("branch", "Submit a study that starts from the present state of a run; prints its name",
                       [o](const Session& session) { return Branch(session, o->name, o->file); }),
          &o->name)
      ->add_option("FILE", o->file, "Study file without [start.saved]; its bed is that of the run")
      ->required();
}

}  // namespace gyrebox::client
