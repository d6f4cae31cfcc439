#include <iostream>

#include "commands/registry.h"
#include "commands/watch.h"
#include "output/live_answers.h"
#include "output/live_runs.h"
#include "output/progress.h"
#include "output/text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

/// Time without a server after which watching gives up.
constexpr std::chrono::seconds kPatience{30};

static std::string GapText(const v1::Gap& gap) {
  return "this client fell behind by " + AboutText(gap.seconds()) + "; catching up";
}

ExitCode Watch(const Session& session, const std::string& name, bool tell_answers) {
  Client client(session.server);
  v1::WatchRunsRequest request;
  request.set_parent(StudyName(name));
  Progress progress;
  LiveAnswers answers(client);
  LiveRuns runs(client);
  v1::Study study;
  const auto status = client.WatchRuns(request, kPatience, [&](const v1::WatchRunsResponse& message) {
    if (session.json) PrintJson(message, /*one_line=*/true);
    if (message.has_gap() && !session.json) progress.Note(GapText(message.gap()));
    if (!message.has_study()) return;
    study = message.study();
    if (session.json) return;
    if (progress.on_terminal()) answers.Follow(study);
    runs.Follow(study);
    progress.Show(study, runs.lines(), answers.lines());
  });
  if (!status.ok()) return Report(session, status);
  if (!session.json) {
    progress.End(study);
    if (tell_answers || progress.on_terminal()) answers.Finish(study);
    for (const std::string& line : answers.lines())
      (tell_answers ? std::cout : std::cerr) << schema::Visible(line) << "\n";
  }
  const v1::RunCounts& counts = study.run_counts();
  const bool all_unstable = counts.finished_count() == 0 && counts.unstable_count() > 0;
  if (all_unstable && !session.json) {
    std::cerr << "gyrebox: every run of " << study.name()
              << " became unstable, so there is nothing to average; gyrebox "
              << "show " << study.name() << " gives the reasons, and gyrebox check whether the time step is too long\n";
  }
  const bool complete = study.state() == v1::Study::STATE_FINISHED && counts.failed_count() == 0 && !all_unstable;
  return complete ? kDone : kRefused;
}

void RegisterWatchCommand(Registry& registry) {
  const auto name = std::make_shared<std::string>();
  TakeStudy(
      registry.AddWithJson("watch", "Follow a study until it ends",
                           [name](const Session& session) { return Watch(session, *name, /*tell_answers=*/true); }),
      name.get());
}

}  // namespace gyrebox::client
