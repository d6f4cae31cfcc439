#include "executor/steer_rules.h"

#include <google/protobuf/util/time_util.h>

#include "schema/adjustment_text.h"
#include "store/names.h"

namespace gyrebox::executor {

using Kind = v1::Adjustment::Kind;
using State = v1::Run::State;

bool Fits(Kind kind, const v1::Run& run) {
  const State state = run.state();
  const bool open = state >= v1::Run::STATE_QUEUED && state <= v1::Run::STATE_PAUSED;
  switch (kind) {
    case v1::Adjustment::KIND_PAUSE:
      return open && state != v1::Run::STATE_PAUSED;
    case v1::Adjustment::KIND_RESUME:
      return state == v1::Run::STATE_PAUSED;
    case v1::Adjustment::KIND_FINISH:
      return open && (state == v1::Run::STATE_STARTING || state == v1::Run::STATE_RUNNING || run.step() > 0);
    case v1::Adjustment::KIND_EXTEND:
      return open || state == v1::Run::STATE_FINISHED;
    default:
      return open;
  }
}

bool MakesLeave(Kind kind) { return kind == v1::Adjustment::KIND_PAUSE || kind == v1::Adjustment::KIND_WITHDRAW; }

absl::Status WrongState(Kind kind, const v1::Run& run) {
  std::string can;
  for (const Kind other : {v1::Adjustment::KIND_CHANGE, v1::Adjustment::KIND_PAUSE, v1::Adjustment::KIND_RESUME,
                           v1::Adjustment::KIND_FINISH, v1::Adjustment::KIND_EXTEND}) {
    if (Fits(other, run)) can += (can.empty() ? "" : ", ") + std::string(schema::Participle(other));
  }
  const bool withdraws = kind == v1::Adjustment::KIND_WITHDRAW;
  return absl::FailedPreconditionError(run.name() + " is " + store::InWords(run.state()) +
                                       (withdraws ? " and none of its changes can be " : " and cannot be ") +
                                       schema::Participle(kind) + "; it can be " + (can.empty() ? "" : can + ", ") +
                                       "replayed");
}

v1::Adjustment ServerPause(int64_t step, double time_step, const std::string& why) {
  v1::Adjustment entry;
  entry.set_user("server");
  *entry.mutable_create_time() = google::protobuf::util::TimeUtil::GetCurrentTime();
  entry.set_kind(v1::Adjustment::KIND_PAUSE);
  entry.set_reached_step(step);
  entry.set_step(step);
  entry.set_time(static_cast<double>(step) * time_step);
  entry.set_reason(why);
  return entry;
}

/// Describes one entry in words.
static std::string InWords(const v1::Adjustment& entry) {
  if (entry.kind() == v1::Adjustment::KIND_WITHDRAW) {
    return entry.user() + " withdrew entry " + std::to_string(entry.withdrawn_entry());
  }
  std::string text =
      entry.user() + " " + schema::Participle(entry.kind()) + " it at step " + std::to_string(entry.step());
  if (entry.kind() == v1::Adjustment::KIND_CHANGE) text += " (" + schema::NumbersText(entry.change()) + ")";
  return text;
}

absl::Status ChangedSince(const v1::Run& run, const std::string& etag, const std::vector<v1::Adjustment>& journal) {
  std::string since;
  for (size_t i = 0; i < journal.size(); ++i) {
    if (std::to_string(i) == etag) since.clear();
    since += (since.empty() ? "" : "; ") + InWords(journal[i]);
  }
  return absl::AbortedError(run.name() + " has changed since etag " + etag + ", it is " + run.etag() +
                            " now: " + (since.empty() ? "that etag is none of this run" : since));
}

}  // namespace gyrebox::executor
