/// How kept frames are to be measured again, from options.
#pragma once

#include <optional>
#include <string>

#include "gyrebox/v1/observable.pb.h"

namespace gyrebox::client {

struct MeasureInput {
  std::optional<double> bond_length;  ///< sigma
  std::string wave_shells;            ///< FIRST:LAST; empty where it is not given
};

/// What the options ask for; nothing where none of them is given. @param fault what is wrong with them, if anything is.
std::optional<v1::MeasureAgain> ToMeasureAgain(const MeasureInput& input, std::string* fault);

}  // namespace gyrebox::client
