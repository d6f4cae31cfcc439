#include "store/saved_run.h"

#include <exception>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "gyrebox/bed_state.h"
#include "store/names.h"
#include "study/expand.h"

namespace gyrebox::store {

absl::StatusOr<kernels::SavedBed> ToBed(const BedBytes& state, const std::string& name) {
  try {
    const auto bytes = std::as_bytes(std::span(state.bytes));
    return kernels::BeadsOf(kernels::FromBytes(bytes), state.side_x, state.side_y);
  } catch (const std::exception& error) {
    return absl::DataLossError("the state of " + name + " cannot be read: " + error.what());
  }
}

static absl::StatusOr<BedBytes> EndOf(Store& store, const RunName& parsed, const v1::Run& run) {
  if (run.state() != v1::Run::STATE_FINISHED) {
    return absl::FailedPreconditionError(run.name() + " is " + InWords(run.state()) +
                                         "; only a run that ran to its end, FINISHED, can be started from, or a state "
                                         "that was saved of it");
  }
  return store.states().GetEnd(parsed.study, parsed.run);
}

study::FoundRun FindSavedRun(Store& store, const std::string& name) {
  const std::optional<StateName> of_state = ParseStateName(name);
  const auto parsed = of_state ? absl::StatusOr<RunName>(of_state->run) : ParseRunName(name);
  if (!parsed.ok()) return parsed.status();
  const auto run = store.runs().Get(parsed->study, parsed->run);
  if (!run.ok()) return run.status();
  const auto state =
      of_state ? store.states().GetAt(parsed->study, parsed->run, of_state->step) : EndOf(store, *parsed, *run);
  if (!state.ok()) return state.status();
  const auto study = store.studies().Get(parsed->study);
  if (!study.ok()) return study.status();
  auto beads = ToBed(*state, name);
  if (!beads.ok()) return beads.status();
  const std::vector<double> values(run->axis_values().begin(), run->axis_values().end());
  return study::SavedRun{study::AtPoint(study->spec(), values).bed(),
                         std::make_shared<const kernels::SavedBed>(*std::move(beads)),
                         run->name() + "/states/" + std::to_string(state->step)};
}

study::FoundRun FindOwnStart(Store& store, int64_t study, const v1::StudySpec& spec) {
  const auto state = store.states().GetStart(study);
  if (!state.ok()) return state.status();
  auto beads = ToBed(*state, spec.start().saved().run());
  if (!beads.ok()) return beads.status();
  // The creation of the study checked that its bed matches the state.
  return study::SavedRun{spec.bed(), std::make_shared<const kernels::SavedBed>(*std::move(beads)),
                         spec.start().saved().run()};
}

bool IsAboutTheRun(const absl::Status& status) {
  return absl::IsInvalidArgument(status) || absl::IsNotFound(status) || absl::IsFailedPrecondition(status) ||
         absl::IsDataLoss(status);
}

}  // namespace gyrebox::store
