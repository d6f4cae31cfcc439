/// A driver without a device, whose teams are one thread.
#pragma once

#include "cuda/serial_team.h"
#include "host_driver.h"

namespace gyrebox::kernels::cuda {

struct SerialTeams {
  std::uint32_t blocks() const { return 1; }
  template <class Work>
  void Together(const Work& work) const {
    SerialTeam team;
    work(team);
  }
};

using SerialDriver = HostDriver<SerialTeams>;

}  // namespace gyrebox::kernels::cuda
