/// Finds what a person probably meant.
#pragma once

#include <string>
#include <vector>

namespace gyrebox::schema {

/// The name most like the one given, or an empty string where none is close. A name that ends in the one given, such
/// as drive.sine.amplitude for amplitude, counts as close.
std::string NearestName(const std::string& given, const std::vector<std::string>& names);

/// "; did you mean NAME?", or an empty string where no name is close.
std::string DidYouMean(const std::string& given, const std::vector<std::string>& names);

}  // namespace gyrebox::schema
