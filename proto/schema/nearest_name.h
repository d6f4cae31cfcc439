/// Finds what a user probably meant.
#pragma once

#include <string>
#include <vector>

namespace gyrebox::schema {

/// The name most similar to the given one, or an empty string if none is close. A name that ends in the given one, such
/// as drive.sine.amplitude for amplitude, counts as close.
std::string NearestName(const std::string& given, const std::vector<std::string>& names);

/// "; did you mean NAME?", or an empty string if no name is close.
std::string DidYouMean(const std::string& given, const std::vector<std::string>& names);

}  // namespace gyrebox::schema
