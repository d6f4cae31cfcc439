/// One frame as a file that other programs read.
#pragma once

#include <cstdint>
#include <ostream>
#include <vector>

#include "gyrebox/v1/frame.pb.h"

namespace gyrebox::client {

/// The beads of a frame, as numbers.
struct ShownBeads {
  std::vector<float> places;        ///< x and y of each in turn, sigma
  std::vector<float> angles;        ///< rad
  std::vector<std::uint8_t> kinds;  ///< 1 for a spinner
};
ShownBeads BeadsOf(const v1::Frame& frame);

/// A line a bead, below lines that begin with # and say what it is of.
void WriteCsvFrame(std::ostream& out, const v1::Frame& frame, const ShownBeads& beads);

/// VTK XML PolyData: a point and a vertex a bead, with its angle and kind; step, time and sides as fields. The format
/// is described in The VTK User's Guide, 11th edition (Kitware, 2010), section 19.3, "XML File Formats".
void WriteVtpFrame(std::ostream& out, const v1::Frame& frame, const ShownBeads& beads);

}  // namespace gyrebox::client
