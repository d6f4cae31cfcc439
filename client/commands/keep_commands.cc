#include <unistd.h>

#include <algorithm>
#include <iostream>

#include "commands/registry.h"
#include "output/text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

/// Attempts to set labels while another user sets them at the same time.
constexpr int kTries = 5;

static ExitCode Note(const Session& session, const std::string& name, const std::string& text) {
  v1::UpdateStudyRequest request;
  request.mutable_study()->set_name(StudyName(name));
  request.mutable_study()->set_note(text);
  request.mutable_update_mask()->add_paths("note");
  const auto study = Client(session.server).UpdateStudy(request);
  if (!study.ok()) return ReportRequest(session, study.status());
  std::cerr << study->name() << (text.empty() ? ": note removed\n" : ": note saved\n");
  return kDone;
}

/// A request that adds and removes labels of a study.
static v1::UpdateStudyRequest Relabelled(const v1::Study& study, const std::vector<std::string>& put,
                                         const std::vector<std::string>& drop) {
  v1::UpdateStudyRequest request;
  request.mutable_update_mask()->add_paths("labels");
  v1::Study& changed = *request.mutable_study();
  changed.set_name(study.name());
  changed.set_etag(study.etag());
  const auto has = [](const auto& list, const std::string& word) {
    return std::find(list.begin(), list.end(), word) != list.end();
  };
  for (const std::string& label : study.labels()) {
    if (!has(drop, label)) changed.add_labels(label);
  }
  for (const std::string& label : put) {
    if (!has(changed.labels(), label)) changed.add_labels(label);
  }
  return request;
}

static ExitCode Label(const Session& session, const std::string& name, const std::vector<std::string>& put,
                      const std::vector<std::string>& drop) {
  Client client(session.server);
  auto study = client.GetStudy(StudyName(name));
  for (int tries = kTries; study.ok() && !(put.empty() && drop.empty()) && tries > 0; --tries) {
    auto changed = client.UpdateStudy(Relabelled(*study, put, drop));
    const bool again = absl::IsAborted(changed.status()) && tries > 1;
    study = again ? client.GetStudy(StudyName(name)) : std::move(changed);
    if (!again) break;
  }
  if (!study.ok()) return ReportRequest(session, study.status());
  for (const std::string& label : study->labels()) std::cout << schema::Visible(label) << "\n";
  return kDone;
}

static ExitCode Exclude(const Session& session, const std::string& name, const std::optional<std::string>& why) {
  v1::ExcludeRunRequest request;
  request.set_name(RunName(name));
  request.set_undo(!why);
  request.set_reason(why.value_or(""));
  const auto run = Client(session.server).ExcludeRun(request);
  if (!run.ok()) return ReportRequest(session, run.status());
  std::cerr << run->name() << (why ? ": excluded from every average\n" : ": counts again\n");
  return kDone;
}

static ExitCode Give(const Session& session, const std::string& name, const std::string& owner) {
  const auto study = Client(session.server).GiveStudy(StudyName(name), owner);
  if (!study.ok()) return Report(session, study.status());
  std::cerr << study->name() << schema::Visible(": owned by " + study->owner()) << "\n";
  return kDone;
}

static ExitCode Archive(const Session& session, const std::string& name, bool undo) {
  const auto study = Client(session.server).ArchiveStudy(StudyName(name), undo);
  if (!study.ok()) return Report(session, study.status());
  std::cerr << study->name() << (undo ? ": restored\n" : ": archived; gyrebox list --all shows it\n");
  return kDone;
}

static void TellWhatWouldGo(const v1::Study& study) {
  std::cerr << schema::Visible(study.name() + (study.spec().title().empty() ? "" : "  " + study.spec().title())) << "\n"
            << "  of " << schema::Visible(study.owner()) << ", created " << TimeText(study.create_time()) << "\n"
            << "  " << Plural(study.run_counts().total_count(), "run") << " (" << CountsText(study.run_counts())
            << ") with all their data and saved states, " << BytesText(static_cast<double>(study.stored_byte_count()))
            << " on disk\n";
}

static bool SaysYes() {
  std::cerr << "Delete it permanently? [y/N] " << std::flush;
  std::string answer;
  return std::getline(std::cin, answer) && (answer == "y" || answer == "Y" || answer == "yes");
}

static ExitCode Delete(const Session& session, const std::string& given, bool yes) {
  Client client(session.server);
  const std::string name = StudyName(given);
  std::string seen;
  if (!yes) {
    const auto study = client.GetStudy(name);
    if (!study.ok()) return Report(session, study.status());
    TellWhatWouldGo(*study);
    const bool can_ask = isatty(STDIN_FILENO) == 1 && isatty(STDERR_FILENO) == 1;
    if (!can_ask || !SaysYes()) {
      std::cerr << "gyrebox: nothing was deleted" << (can_ask ? "" : "; give --yes to delete it permanently") << "\n";
      return kRefused;
    }
    seen = study->etag();
  }
  if (const auto status = client.DeleteStudy(name, seen); !status.ok()) return Report(session, status);
  std::cerr << name << ": deleted\n";
  return kDone;
}

void RegisterKeepCommands(Registry& registry) {
  struct Options {
    std::string name, text;
    std::vector<std::string> words, dropped;
    std::optional<std::string> why;
    bool undo = false, yes = false;
  };
  const auto o = std::make_shared<Options>();
  TakeStudy(registry.Add("note", "Write a note on a study; an empty one removes it",
                         [o](const Session& session) { return Note(session, o->name, o->text); }),
            &o->name)
      ->add_option("TEXT", o->text, "Text of the note")
      ->required();
  CLI::App* label =
      TakeStudy(registry.Add("label", "Add and remove labels of a study; prints its labels",
                             [o](const Session& session) { return Label(session, o->name, o->words, o->dropped); }),
                &o->name);
  label->add_option("WORD", o->words, "Labels to add");
  label->add_option("--drop", o->dropped, "Labels to remove");
  CLI::App* exclude = TakeRun(
      registry.Add("exclude", "Exclude a run from every average; it is kept and shown",
                   [o](const Session& session) { return Exclude(session, o->name, o->undo ? std::nullopt : o->why); }),
      &o->name);
  CLI::Option_group* how = exclude->add_option_group("how");
  how->add_option("--why", o->why, "Reason, in one line");
  how->add_flag("--undo", o->undo, "Include it again");
  how->require_option(1);
  TakeStudy(registry.Add("give", "Give a study to another user",
                         [o](const Session& session) { return Give(session, o->name, o->text); }),
            &o->name)
      ->add_option("WHO", o->text, "The new owner")
      ->required();
  TakeStudy(registry.Add("archive", "Archive a study: not listed, and never deleted by age or for space",
                         [o](const Session& session) { return Archive(session, o->name, o->undo); }),
            &o->name)
      ->add_flag("--undo", o->undo, "Restore it");
  TakeStudy(registry.Add("delete", "Delete a study with all its data, permanently",
                         [o](const Session& session) { return Delete(session, o->name, o->yes); }),
            &o->name)
      ->add_flag("--yes", o->yes, "Do not ask");
}

}  // namespace gyrebox::client
