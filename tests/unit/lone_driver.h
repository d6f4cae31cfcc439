/// A driver without a device, whose teams are one thread.
#pragma once

#include "cuda/lone_team.h"
#include "host_driver.h"

namespace gyrebox::kernels::cuda {

struct LoneTeams {
  std::uint32_t blocks() const { return 1; }
  template <class Work>
  void Together(const Work& work) const {
    LoneTeam team;
    work(team);
  }
};

using LoneDriver = HostDriver<LoneTeams>;

}  // namespace gyrebox::kernels::cuda
