/// What a target holds to be true whatever the input.
#pragma once

#include <cstdio>
#include <cstdlib>

namespace gyrebox::test {

/// Ends the program where a fact does not hold.
inline void Check(bool holds, const char* fault) {
  if (holds) return;
  std::fprintf(stderr, "%s\n", fault);
  std::abort();
}

}  // namespace gyrebox::test
