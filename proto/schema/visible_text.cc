#include "schema/visible_text.h"

#include <cstdio>

namespace gyrebox::schema {

/// Bytes of the character that this byte starts; 0 if it starts none.
static size_t SizeOf(unsigned char lead) {
  if (lead < 0x80) return 1;
  if (lead >= 0xC2 && lead < 0xE0) return 2;
  if (lead >= 0xE0 && lead < 0xF0) return 3;
  return lead >= 0xF0 && lead < 0xF5 ? 4 : 0;
}

Character CharacterAt(const std::string& text, size_t at) {
  const auto byte = [&](size_t i) { return static_cast<unsigned char>(text[at + i]); };
  const Character invalid{byte(0), 1, false};
  const size_t size = SizeOf(byte(0));
  if (size == 0 || at + size > text.size()) return invalid;
  if (size == 1) return {byte(0), 1, true};
  char32_t code = byte(0) & (0xFF >> (size + 1));
  for (size_t i = 1; i < size; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return invalid;
    code = (code << 6) | (byte(i) & 0x3F);
  }
  const bool overlong = (size == 3 && code < 0x800) || (size == 4 && code < 0x10000);
  const bool surrogate = code >= 0xD800 && code < 0xE000;
  return overlong || surrogate || code > 0x10FFFF ? invalid : Character{code, size, true};
}

bool IsHidden(char32_t code) {
  return code < 0x20 || (code >= 0x7F && code < 0xA0) || code == 0x61C || code == 0x200E || code == 0x200F ||
         (code >= 0x2028 && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069);
}

bool HasHidden(const std::string& text) {
  for (size_t at = 0; at < text.size();) {
    const Character character = CharacterAt(text, at);
    if (!character.valid || IsHidden(character.code)) return true;
    at += character.size;
  }
  return false;
}

static std::string Visible(const std::string& text, bool lines) {
  std::string visible;
  for (size_t at = 0; at < text.size();) {
    const Character character = CharacterAt(text, at);
    const bool stays = lines && (character.code == '\n' || character.code == '\t');
    if (character.valid && (stays || !IsHidden(character.code))) {
      visible.append(text, at, character.size);
    } else {
      char written[16];
      std::snprintf(written, sizeof written, character.valid ? "\\u{%x}" : "\\x{%x}",
                    static_cast<unsigned>(character.code));
      visible += written;
    }
    at += character.size;
  }
  return visible;
}

std::string Visible(const std::string& text) { return Visible(text, /*lines=*/false); }
std::string VisibleLines(const std::string& text) { return Visible(text, /*lines=*/true); }

std::string Clipped(const std::string& text, size_t max_bytes) {
  constexpr char kRest[] = "...";
  if (text.size() <= max_bytes) return text;
  size_t end = max_bytes - (sizeof kRest - 1);
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
  return text.substr(0, end) + kRest;
}

}  // namespace gyrebox::schema
