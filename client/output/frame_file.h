/// Writes one frame to a file for other programs.
#pragma once

#include <cstdint>
#include <ostream>
#include <vector>

#include "gyrebox/v1/frame.pb.h"

namespace gyrebox::client {

/// The beads of a frame, decoded.
struct ShownBeads {
  std::vector<float> positions;     ///< x and y of each in turn, sigma
  std::vector<float> angles;        ///< rad
  std::vector<std::uint8_t> kinds;  ///< 1 for a spinner
};
ShownBeads BeadsOf(const v1::Frame& frame);

/// One line per bead, after comment lines that begin with # and describe the frame.
void WriteCsvFrame(std::ostream& out, const v1::Frame& frame, const ShownBeads& beads);

/// VTK XML PolyData: one point and vertex per bead, with angle and kind; step, time and sides as fields. The format
/// is described in The VTK User's Guide, 11th edition (Kitware, 2010), section 19.3, "XML File Formats".
void WriteVtpFrame(std::ostream& out, const v1::Frame& frame, const ShownBeads& beads);

}  // namespace gyrebox::client
