#include "executor/pack.h"

#include <spdlog/spdlog.h>

#include <exception>
#include <span>

#include "study/return_if_error.h"
#include "study/run_spec.h"
#include "study/steering.h"

namespace gyrebox::executor {

int64_t NumberOf(const v1::Run& run) { return std::stoll(run.name().substr(run.name().rfind('/') + 1)); }

static absl::StatusOr<kernels::BedState> ToState(const store::BedBytes& bed, const kernels::RunSpec& spec) {
  try {
    kernels::BedState state = kernels::FromBytes(std::as_bytes(std::span(bed.bytes)));
    if (state.step != bed.step || static_cast<int64_t>(state.x.size()) != spec.n_beads) {
      return absl::DataLossError("the state is of another bed");
    }
    return state;
  } catch (const std::exception& error) {
    return absl::DataLossError(error.what());
  }
}

static absl::StatusOr<std::optional<Resume>> ReadResume(store::Store& store, int64_t study, const PackedRun& run) {
  auto checkpoint = store.states().GetCheckpoint(study, run.number);
  if (!checkpoint.ok()) return checkpoint.status();
  if (!checkpoint->has_value()) return std::nullopt;
  auto state = ToState((*checkpoint)->bed, run.spec);
  if (!state.ok()) return state.status();
  return Resume{*std::move(state), (*checkpoint)->last_sample_step};
}

/// Sets a run to resume from its newest intact checkpoint.
static absl::Status SetResume(store::Store& store, int64_t study, PackedRun* run) {
  for (;;) {
    auto resume = ReadResume(store, study, *run);
    if (resume.ok()) {
      run->resume = *std::move(resume);
      const auto row = store.runs().Get(study, run->number);
      if (!row.ok()) return row.status();
      run->recovered_faults.assign(row->recovered_faults().begin(), row->recovered_faults().end());
      run->warning = row->warning();
      return absl::OkStatus();
    }
    if (!absl::IsDataLoss(resume.status())) return resume.status();
    spdlog::warn("studies/{}/runs/{}: its newest checkpoint cannot be used, going on from the one before: {}", study,
                 run->number, std::string(resume.status().message()));
    GYREBOX_RETURN_IF_ERROR(store.states().DropCheckpoint(study, run->number));
  }
}

absl::StatusOr<std::vector<PackedRun>> Pack(store::Store& store, const store::QueuedRuns& queued,
                                            const kernels::Device& device, const Room& room,
                                            const std::shared_ptr<const kernels::SavedBed>& saved) {
  std::vector<PackedRun> packed;
  int64_t bytes = 0, beads = 0;
  for (const v1::Run& run : queued.runs) {
    const bool steered = run.etag() != "0";
    const auto journal = steered ? store.journals().Get(queued.study, NumberOf(run)) : std::vector<v1::Adjustment>();
    if (!journal.ok()) return journal.status();
    PackedRun next;
    next.number = NumberOf(run);
    const v1::StudySpec at = study::SpecOf(queued.spec, run, *journal);
    next.spec = study::ToRunSpec(at, run.seeds(), saved);
    next.frame_steps = study::FrameStepsOf(at, next.spec);
    bytes += device.BytesOf(next.spec);
    beads += next.spec.n_beads;
    const bool fits = bytes <= room.bytes && (room.beads == 0 || beads <= room.beads);
    if (!fits && !packed.empty()) break;
    GYREBOX_RETURN_IF_ERROR(SetResume(store, queued.study, &next));
    packed.push_back(std::move(next));
  }
  return packed;
}

}  // namespace gyrebox::executor
