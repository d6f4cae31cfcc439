#include "cuda/bed.h"
#include "cuda/bed_view.h"
#include "dynamics/bead_list.h"

namespace gyrebox::kernels::cuda {

void DeviceBed::Upload(const BedSlots& slots) {
  SendSlots(driver_, plan_, slots);
  status_.half = 0;
  status_.lists_valid = false;
}

DriveState DeviceBed::FetchDrive() {
  DriveState drive;
  drive.phases = phases_;
  if (own_since_) {
    drive.own_phases = FetchArray(driver_, plan_.memory.own.phases, spinners_.size());
    drive.turns = FetchArray(driver_, plan_.memory.own.turns, spinners_.size());
    driver_.Wait();
  }
  return drive;
}

BedState DeviceBed::Save() {
  BedState state;
  course_.Save(state);
  state.lists_valid = status_.lists_valid;
  PutSlots(FetchSlots(driver_, plan_, status_.half), state);
  PutDrive(FetchDrive(), state);
  return state;
}

void DeviceBed::BeginLoad(const BedState& state) {
  course_.Check(state);
  Upload(SlotsOfState(state, start_, apart()));
  const DriveState drive = DriveOf(state);
  phases_ = drive.phases;
  course_.GoTo(state);
  own_since_.reset();
  if (!drive.turns.empty()) {
    TakeOwnMemory();
    SendOwnPhases(drive.own_phases, drive.turns);
    own_since_ = status_.taken;
  }
  status_.stop = Stop::kNone;
  planned_ = status_.taken;
  sampled_at_ = samples_stand_ = state.step - 1;
}

void DeviceBed::FinishLoad(const BedState& state) {
  const std::size_t at = static_cast<std::size_t>(status_.half) * plan_.stride;
  std::vector<PositionVelocity> beads = FetchArray(driver_, plan_.memory.beads + at, plan_.n);
  const std::vector<std::uint32_t> tags = FetchArray(driver_, plan_.memory.tag, plan_.n);
  driver_.Wait();
  for (std::size_t slot = 0; slot < beads.size(); ++slot) {
    beads[slot].x = state.x[IdOf(tags[slot])];
    beads[slot].y = state.y[IdOf(tags[slot])];
  }
  SendArray(driver_, beads, plan_.memory.beads + at);
  driver_.Wait();
  status_.lists_valid = state.lists_valid;
}

std::vector<Bead> DeviceBed::Beads() {
  const RunSpec& spec = course_.spec();
  if (!has_memory()) return std::vector<Bead>(static_cast<std::size_t>(spec.n_beads));
  return BeadsIn(Save(), spec.side_x, spec.side_y);
}

}  // namespace gyrebox::kernels::cuda
