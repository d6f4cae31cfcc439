/// Text written by users.
#pragma once

#include <algorithm>
#include <cstddef>
#include <string>

namespace gyrebox::study {

/// Number of characters in a UTF-8 text.
inline size_t CharacterCount(const std::string& text) {
  return std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; });
}

}  // namespace gyrebox::study
