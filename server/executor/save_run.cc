#include "executor/save_run.h"

#include <string>

#include "store/names.h"

namespace gyrebox::executor {

absl::StatusOr<v1::SavedState> SaveRun(store::Store& store, int64_t study, int64_t number, const store::Request& once) {
  const auto run = store.runs().Get(study, number);
  if (!run.ok()) return run.status();
  if (run->state() >= v1::Run::STATE_QUEUED && run->state() <= v1::Run::STATE_PAUSED) {
    return store.states().KeepCheckpoint(study, number, once);
  }
  if (run->state() != v1::Run::STATE_FINISHED) {
    return absl::FailedPreconditionError(run->name() + " is " + store::InWords(run->state()) +
                                         " and has no state to save; only a run under way has, or one that ran to its "
                                         "end");
  }
  const auto end = store.states().GetEnd(study, number);
  if (!end.ok()) return end.status();
  if (auto status = store.requests().Note(once, study, {number, end->step}); !status.ok()) return status;
  v1::SavedState state;  // the end state is already kept
  state.set_name(run->name() + "/states/" + std::to_string(end->step));
  state.set_step(end->step);
  state.set_time(end->time);
  state.set_byte_count(static_cast<int64_t>(end->bytes.size()));
  return state;
}

}  // namespace gyrebox::executor
