/// Bins of wide columns.
#pragma once

#include <string>

#include "gyrebox/ensemble.h"

namespace gyrebox::kernels {

/// Bins of equal width, one for each value of a column.
struct Bins {
  double first = 0;  ///< lower edge of the first one
  double width = 0;  ///< 0 if the column has no bins
  std::string unit;
};

Bins BinsOf(const Column& column);

}  // namespace gyrebox::kernels
