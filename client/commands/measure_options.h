/// Command-line options to measure kept frames again.
#pragma once

#include <optional>
#include <string>

#include "gyrebox/v1/observable.pb.h"

namespace gyrebox::client {

struct MeasureInput {
  std::optional<double> bond_length;  ///< sigma
  std::string wave_shells;            ///< FIRST:LAST; empty if not given
};

/// The options as a message; none if none is given. @param fault receives their fault, if any.
std::optional<v1::MeasureAgain> ToMeasureAgain(const MeasureInput& input, std::string* fault);

}  // namespace gyrebox::client
