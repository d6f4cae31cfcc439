#include <absl/strings/numbers.h>
#include <absl/strings/str_split.h>

#include <iostream>

#include "commands/registry.h"
#include "output/text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

/// Reads FIELD=VALUE,VALUE,...
static bool ParseAxis(const std::string& text, v1::Axis* axis) {
  const size_t at = text.find('=');
  bool sound = at != 0 && at != std::string::npos;
  if (sound) {
    axis->set_field(text.substr(0, at));
    for (const absl::string_view value : absl::StrSplit(text.substr(at + 1), ',')) {
      double number = 0;
      sound = sound && absl::SimpleAtod(value, &number);
      axis->add_values(number);
    }
  }
  if (!sound) {
    std::cerr << "gyrebox: " << schema::Visible(text)
              << " adds no values; give FIELD=VALUE,VALUE, such as drive.sine.amplitude=36,40\n";
  }
  return sound;
}

static ExitCode UndoGrowth(const Session& session, const std::string& name) {
  const auto study = Client(session.server).UndoGrowth(StudyName(name));
  if (!study.ok()) return Report(session, study.status());
  std::cerr << study->name() << ": last growth taken back; " << CountsText(study->run_counts()) << "\n";
  return kDone;
}

/// Says what a growth would add.
static ExitCode TellGrowth(const Session& session, Client& client, const v1::GrowStudyRequest& request) {
  const auto checked = client.CheckGrowth(request);
  if (!checked.ok()) return ReportRequest(session, checked.status());
  const v1::Estimate& estimate = checked->estimate();
  std::cout << request.name() << ": " << Plural(estimate.run_count(), "run") << " would be added";
  if (estimate.audit_run_count() > 0) std::cout << ", " << estimate.audit_run_count() << " of them with half the step";
  if (estimate.run_count() > 0) {
    std::cout << "; " << AboutText(estimate.duration_seconds()) << " on this machine alone ("
              << schema::Visible(estimate.duration_basis()) << ")";
  }
  std::cout << "\n";
  return kDone;
}

static ExitCode Grow(const Session& session, const std::string& name, int trials, const std::vector<std::string>& axes,
                     bool dry_run) {
  v1::GrowStudyRequest request;
  request.set_name(StudyName(name));
  request.set_add_trials(trials);
  for (const std::string& text : axes) {
    if (!ParseAxis(text, request.add_axes())) return kBadInput;
  }
  Client client(session.server);
  if (dry_run) return TellGrowth(session, client, request);
  const auto before = client.GetStudy(request.name());
  if (!before.ok()) return Report(session, before.status());
  const auto grown = client.GrowStudy(request);
  if (!grown.ok()) return ReportRequest(session, grown.status());
  const int added = grown->run_counts().total_count() - before->run_counts().total_count();
  std::cerr << grown->name() << ": " << Plural(added, "run") << " added; " << CountsText(grown->run_counts()) << "\n";
  return kDone;
}

void RegisterGrowCommand(Registry& registry) {
  struct Options {
    std::string name;
    std::vector<std::string> words;
    bool undo = false, dry_run = false;
    int trials = 0;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* grow = TakeStudy(registry.Add("grow", "Add realizations, values of an axis, or an axis to a study",
                                          [o](const Session& session) {
                                            return o->undo ? UndoGrowth(session, o->name)
                                                           : Grow(session, o->name, o->trials, o->words, o->dry_run);
                                          }),
                             &o->name);
  grow->add_flag("--dry-run", o->dry_run, "Only print what would be added and how long it would take");
  CLI::Option* added = grow->add_option("--trials", o->trials, "Realizations to add at every point");
  CLI::Option* axis = grow->add_option("AXIS", o->words, "FIELD=VALUE,VALUE,... such as drive.sine.amplitude=36,40");
  grow->add_flag("--undo", o->undo, "Take the last growth back, as long as none of its runs has started")
      ->excludes(added)
      ->excludes(axis);
}

}  // namespace gyrebox::client
