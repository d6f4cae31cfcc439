#include "schema/number_text.h"

#include <charconv>
#include <cmath>
#include <cstdlib>

namespace gyrebox::schema {

static std::string Written(double value, std::chars_format format) {
  char buffer[512];
  const auto end = std::to_chars(buffer, buffer + sizeof buffer, value, format).ptr;
  return std::string(buffer, end);
}

/// 1e+08 becomes 1e8, 5e-04 becomes 5e-4.
static std::string ShortExponent(std::string text) {
  const size_t e = text.find('e');
  if (e == std::string::npos) return text;
  const int exponent = std::atoi(text.c_str() + e + 1);
  return text.substr(0, e + 1) + std::to_string(exponent);
}

std::string NumberText(double value) {
  if (std::isnan(value)) return "nan";
  if (std::isinf(value)) return value < 0 ? "-inf" : "inf";
  const double size = std::fabs(value);
  if (size == 0 || (size >= 1e-3 && size < 1e6)) return Written(value, std::chars_format::fixed);
  return ShortExponent(Written(value, std::chars_format::scientific));
}

std::string NumberText(double value, int digits) {
  if (!std::isfinite(value)) return NumberText(value);
  char buffer[64];
  const auto end = std::to_chars(buffer, buffer + sizeof buffer, value, std::chars_format::scientific, digits - 1).ptr;
  return NumberText(std::strtod(std::string(buffer, end).c_str(), nullptr));
}

}  // namespace gyrebox::schema
