/// Byte sequences of HTTP/2 (RFC 9113) and gRPC messages, valid or invalid.
#pragma once

#include <cstdint>
#include <string>

namespace gyrebox::test {

/// RFC 9113, section 3.4.
inline const std::string kPreface = "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n";

/// RFC 9113, section 6.
enum FrameType : uint8_t {
  kData = 0,
  kHeaders = 1,
  kPriority = 2,
  kResetStream = 3,
  kSettings = 4,
  kPing = 6,
  kGoAway = 7,
  kWindowUpdate = 8,
  kContinuation = 9,
};
constexpr uint8_t kAck = 1, kEndStream = 1, kEndHeaders = 4;

inline std::string BigEndian(uint64_t value, int bytes) {
  std::string text;
  for (int i = bytes - 1; i >= 0; --i) text += static_cast<char>(value >> (8 * i));
  return text;
}

/// A frame whose length field may differ from the payload (RFC 9113, section 4.1).
inline std::string FrameClaiming(uint32_t length, uint8_t type, uint8_t flags, uint32_t stream,
                                 const std::string& payload) {
  return BigEndian(length, 3) + BigEndian(type, 1) + BigEndian(flags, 1) + BigEndian(stream, 4) + payload;
}

inline std::string Frame(uint8_t type, uint8_t flags, uint32_t stream, const std::string& payload) {
  return FrameClaiming(static_cast<uint32_t>(payload.size()), type, flags, stream, payload);
}

/// An HPACK integer with a prefix of this many bits, below the bits of `first` (RFC 7541, section 5.1).
inline std::string HpackInteger(uint8_t first, int prefix_bits, size_t value) {
  const size_t most = (size_t{1} << prefix_bits) - 1;
  if (value < most) return std::string(1, static_cast<char>(first | value));
  std::string text(1, static_cast<char>(first | most));
  for (value -= most; value >= 128; value /= 128) text += static_cast<char>(value % 128 + 128);
  return text + static_cast<char>(value);
}

/// A header field with a literal name (RFC 7541, section 6.2); `form` is 0x00, 0x10 or 0x40.
inline std::string HpackField(const std::string& name, const std::string& value, uint8_t form = 0) {
  return std::string(1, static_cast<char>(form)) + HpackInteger(0, 7, name.size()) + name +
         HpackInteger(0, 7, value.size()) + value;
}

/// A gRPC message: a flag, its claimed length, and its bytes.
inline std::string GrpcMessage(const std::string& bytes, uint32_t claimed, uint8_t flag = 0) {
  return BigEndian(flag, 1) + BigEndian(claimed, 4) + bytes;
}

}  // namespace gyrebox::test
