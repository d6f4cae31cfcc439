/// A driver without a device, whose teams are one thread.
#pragma once

#include "cuda/lone_team.h"
#include "host_driver.h"

namespace gyrebox::kernels::cuda {

struct LoneTeams {
  static constexpr std::uint32_t kBlocks = 1;
  template <class Work>
  static void Together(const Work& work) {
    LoneTeam team;
    work(team);
  }
};

using LoneDriver = HostDriver<LoneTeams>;

}  // namespace gyrebox::kernels::cuda
