#include "lib/call.h"

#include <random>

namespace gyrebox::client {

std::string NewRequestId() {
  std::random_device random;
  std::string id;
  for (int i = 0; i < 4; ++i) id += std::to_string(random()) + (i < 3 ? "-" : "");
  return id;
}

}  // namespace gyrebox::client
