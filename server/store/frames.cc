// Frames of runs, from kept frames and from states.
#include "store/frames.h"

#include <limits>

#include "store/saved_run.h"
#include "store/sql/frames.h"
#include "store/state_file.h"
#include "store/state_rows.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// Attempts to read a frame. A state file may vanish meanwhile, as a run that ends drops its checkpoints.
constexpr int kFrameTries = 3;

static absl::Status AppendFrame(Connection& connection, int64_t study, int64_t number, const Frame& frame) {
  const std::string beads = ToFrameBytes(frame.beads);
  Statement insert = connection.Prepare(sql::kInsertFrame);
  insert.Bind(study, number, frame.step, frame.time, Statement::AsBlob(beads), static_cast<int64_t>(ChecksumOf(beads)));
  return insert.Run();
}

absl::Status AppendFrames(Connection& connection, int64_t study, int64_t number, const std::vector<Frame>& frames) {
  if (frames.empty()) return absl::OkStatus();
  const kernels::SavedBed& bed = frames.front().beads;
  absl::Status status =
      connection.Prepare(sql::kInsertFrameBed)
          .Bind(study, number, bed.side_x, bed.side_y, Statement::AsBlob(bed.spinner.data(), bed.spinner.size()))
          .Run();
  for (const Frame& frame : frames) status.Update(AppendFrame(connection, study, number, frame));
  return status;
}

absl::Status CutFrames(Connection& connection, int64_t study, int64_t number, int64_t from_step) {
  return connection.Prepare(sql::kCutFrames).Bind(study, number, from_step).Run();
}

absl::StatusOr<std::vector<FrameStamp>> Frames::List(int64_t study, int64_t number, int64_t from_step, int limit) {
  std::vector<FrameStamp> stamps;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectFrameStamps);
    rows.Bind(study, number, from_step, limit);
    while (rows.Next()) stamps.push_back({rows.Int(0), rows.Real(1)});
    return rows.status();
  });
  if (!status.ok()) return status;
  return stamps;
}

/// Reads a kept frame; its step is -1 if there is none at this step.
static absl::StatusOr<Frame> SelectFrame(Connection& connection, int64_t study, int64_t number, int64_t step) {
  Frame frame;
  frame.step = -1;
  Statement bed = connection.Prepare(sql::kSelectFrameBed);
  Statement row = connection.Prepare(sql::kSelectFrame);
  if (!bed.Bind(study, number).Next() || !row.Bind(study, number, step).Next()) {
    absl::Status status = bed.status();
    status.Update(row.status());
    return status.ok() ? absl::StatusOr<Frame>(frame) : status;
  }
  frame.step = step;
  frame.time = row.Real(0);
  frame.beads.side_x = bed.Real(0);
  frame.beads.side_y = bed.Real(1);
  const std::string kinds = bed.Text(2), bytes = row.Text(1);
  if (ChecksumOf(bytes) != static_cast<uint32_t>(row.Int(2))) {
    return absl::DataLossError("the frame of studies/" + std::to_string(study) + "/runs/" + std::to_string(number) +
                               " at step " + std::to_string(step) + " is damaged");
  }
  frame.beads.spinner.assign(kinds.begin(), kinds.end());
  GYREBOX_RETURN_IF_ERROR(FromFrameBytes(bytes, kinds.size(), &frame.beads));
  return frame;
}

absl::StatusOr<Frame> Frames::ReadKept(int64_t study, int64_t number, int64_t step) {
  absl::StatusOr<Frame> frame = absl::InternalError("not read");
  const auto status = connections_.Read([&](Connection& connection) {
    frame = SelectFrame(connection, study, number, step);
    return frame.status();
  });
  if (!status.ok()) return status;
  if (frame->step == step) return frame;
  return absl::NotFoundError("no frame of studies/" + std::to_string(study) + "/runs/" + std::to_string(number) +
                             " is kept at step " + std::to_string(step));
}

/// Source of a frame: a kept frame or a state.
struct FoundFrame {
  int64_t step = -1;              ///< -1 if there is none
  std::optional<StateRow> state;  ///< none for a kept frame
};

static absl::StatusOr<FoundFrame> FindKeptFrame(Connection& connection, int64_t study, int64_t number,
                                                int64_t at_most) {
  FoundFrame found;
  Statement frame = connection.Prepare(sql::kSelectFrameStep);
  if (frame.Bind(study, number, at_most).Next()) found.step = frame.Int(0);
  if (!frame.status().ok()) return frame.status();
  auto state = SelectStateBefore(connection, study, number, at_most);
  if (!state.ok()) return state.status();
  if (state->has_value() && (*state)->bed.step > found.step) found = {(*state)->bed.step, **state};
  return found;
}

absl::StatusOr<std::optional<int64_t>> Frames::Find(int64_t study, int64_t number, int64_t at_most) {
  absl::StatusOr<FoundFrame> found = FoundFrame();
  const auto status = connections_.Read([&](Connection& connection) {
    found = FindKeptFrame(connection, study, number, at_most);
    return found.status();
  });
  if (!status.ok()) return status;
  return found->step < 0 ? std::nullopt : std::optional(found->step);
}

absl::StatusOr<std::optional<Frame>> Frames::Read(int64_t study, int64_t number, int64_t at_most) {
  absl::Status trouble;
  for (int tries = 0; tries < kFrameTries; ++tries) {
    absl::StatusOr<FoundFrame> found = FoundFrame();
    const auto status = connections_.Read([&](Connection& connection) {
      found = FindKeptFrame(connection, study, number, at_most);
      return found.status();
    });
    if (!status.ok()) return status;
    if (found->step < 0) return std::nullopt;
    if (!found->state) return ReadKept(study, number, found->step);
    const auto bed = files_.Read(*found->state);
    trouble = bed.status();
    if (absl::IsDataLoss(trouble)) continue;
    if (!bed.ok()) return trouble;
    auto beads = ToBed(*bed, "studies/" + std::to_string(study) + "/runs/" + std::to_string(number));
    if (!beads.ok()) return beads.status();
    return Frame{bed->step, bed->time, *std::move(beads)};
  }
  return trouble;
}

}  // namespace gyrebox::store
