/// Numbers as users write them.
#pragma once

#include <string>

namespace gyrebox::schema {

/// A number in the fewest digits that distinguish it from its neighbours: 0.7, 576, 1e8, 5e-4.
std::string NumberText(double value);

/// A number rounded to a few significant digits.
std::string NumberText(double value, int digits);

}  // namespace gyrebox::schema
