#include "cpu/bed.h"
#include "dynamics/bead_list.h"

namespace gyrebox::kernels {

BedState Bed::Save() const {
  BedState state;
  course_.Save(state);
  beads_.Save(state);
  for (std::size_t i = 0; solving_ && i < spins_before_.size(); ++i) state.spin[spinners_[i]] = spins_before_[i];
  PutDrive(drive_.state(), state);
  return state;
}

BedState Bed::Checkpoint() const { return course_.kept() != nullptr ? *course_.kept() : Save(); }

void Bed::Load(const BedState& state) {
  course_.Check(state);
  solving_.reset();
  beads_.Load(state);
  drive_.set_state(DriveOf(state));
  course_.GoTo(state);
  drive_.Configure(course_.settings().wave, course_.settings().disorder);
}

std::vector<Bead> Bed::Beads() const { return BeadsIn(Save(), spec().side_x, spec().side_y); }

}  // namespace gyrebox::kernels
