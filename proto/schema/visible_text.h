/// Characters that a reader cannot see, or that make a text look like another one.
#pragma once

#include <cstddef>
#include <string>

namespace gyrebox::schema {

/// One character of a text.
struct Character {
  char32_t code = 0;
  size_t size = 0;     ///< bytes
  bool valid = false;  ///< whether it is UTF-8 (RFC 3629); else it is one byte, which `code` holds
};

/// The character that starts at a byte of a text.
Character CharacterAt(const std::string& text, size_t at);

/// Whether a character is a control of C0 or C1 or DEL (Unicode's category Cc), a line separator, or a control of the
/// text direction (the property Bidi_Control of Unicode's PropList.txt: U+061C, U+200E, U+200F, U+202A to U+202E,
/// U+2066 to U+2069).
bool IsHidden(char32_t code);

/// Whether a text holds such a character, or is not UTF-8.
bool HasHidden(const std::string& text);

/// The text with such characters written as \u{202e}, and bytes that are not UTF-8 as \x{ff}: safe to print on one
/// line.
std::string Visible(const std::string& text);

/// The same for a text of several lines: line ends and tabs stay.
std::string VisibleLines(const std::string& text);

/// At most max_bytes of a text, cut between characters, with "..." if something is left out.
std::string Clipped(const std::string& text, size_t max_bytes);

}  // namespace gyrebox::schema
