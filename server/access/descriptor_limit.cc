#include "access/descriptor_limit.h"

#include <sys/resource.h>

#include <algorithm>
#include <climits>

namespace gyrebox::access {

/// An idle server was measured to have 30 open; the store opens a few more for each call that reads.
constexpr int kReserved = 96;
constexpr int kCapacity = 1000;
constexpr int kFewest = 8;

void RaiseDescriptorLimit() {
  rlimit limit{};
  if (getrlimit(RLIMIT_NOFILE, &limit) != 0) return;
  limit.rlim_cur = limit.rlim_max;
  setrlimit(RLIMIT_NOFILE, &limit);
}

int DescriptorLimit() {
  rlimit limit{};
  if (getrlimit(RLIMIT_NOFILE, &limit) != 0) return 0;
  return static_cast<int>(std::min<rlim_t>(limit.rlim_cur, INT_MAX));
}

int MostConnections(int descriptor_limit) { return std::clamp((descriptor_limit - kReserved) / 2, kFewest, kCapacity); }

}  // namespace gyrebox::access
