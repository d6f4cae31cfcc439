#include <iostream>

#include "cli/commands.h"
#include "cli/progress.h"
#include "cli/text.h"

namespace gyrebox::client {

/// How long a server may stay away before watching gives up.
constexpr std::chrono::seconds kPatience{30};

static std::string GapText(const v1::Gap& gap) {
  return "this reader was behind by " + AboutText(gap.seconds()) + "; it catches up";
}

ExitCode Watch(const Session& session, const std::string& name) {
  Client client(session.server);
  v1::WatchRunsRequest request;
  request.set_parent(StudyName(name));
  Progress progress;
  v1::Study study;
  const auto status = client.WatchRuns(request, kPatience, [&](const v1::WatchRunsResponse& message) {
    if (session.json) PrintJson(message, /*one_line=*/true);
    if (message.has_gap() && !session.json) progress.Note(GapText(message.gap()));
    if (!message.has_study()) return;
    study = message.study();
    if (!session.json) progress.Show(study);
  });
  if (!status.ok()) return Report(session, status);
  if (!session.json) progress.End(study);
  const bool complete = study.state() == v1::Study::STATE_FINISHED && study.run_counts().failed_count() == 0;
  return complete ? kDone : kRefused;
}

}  // namespace gyrebox::client
