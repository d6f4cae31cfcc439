/// Assertions of fuzz targets, which hold for any input.
#pragma once

#include <cstdio>
#include <cstdlib>

namespace gyrebox::test {

/// Aborts the program with a message if a condition is false.
inline void Check(bool holds, const char* fault) {
  if (holds) return;
  std::fprintf(stderr, "%s\n", fault);
  std::abort();
}

}  // namespace gyrebox::test
