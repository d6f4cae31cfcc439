#include "output/frame_file.h"

#include <string>

#include "output/text_table.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

/// Enough digits to distinguish a float from its neighbours.
constexpr int kDigits = 9;

static std::string Text(float number) { return schema::NumberText(static_cast<double>(number), kDigits); }

void WriteCsvFrame(std::ostream& out, const v1::Frame& frame, const ShownBeads& beads) {
  using schema::NumberText;
  WriteCsvComment(
      out, frame.run() + " at step " + std::to_string(frame.step()) + ", time " + NumberText(frame.time()) + " tau");
  out << "# bed of " << frame.bead_count() << " beads of diameter 1 sigma, periodic sides "
      << NumberText(frame.side_x()) << " by " << NumberText(frame.side_y()) << " sigma\r\n"
      << "# shown from " << NumberText(frame.window().x()) << ", " << NumberText(frame.window().y()) << " on, "
      << NumberText(frame.window().width()) << " by " << NumberText(frame.window().height()) << " sigma\r\n"
      << "# kind: 1 for a spinner, 0 for a passive bead\r\n";
  WriteCsv(out, {"x [sigma]", "y [sigma]", "angle [rad]", "kind"});
  for (std::size_t i = 0; i < beads.kinds.size(); ++i) {
    WriteCsv(out, {Text(beads.positions[2 * i]), Text(beads.positions[2 * i + 1]), Text(beads.angles[i]),
                   std::to_string(beads.kinds[i])});
  }
}

/// A DataArray of `count` values, each written by `value(i)`.
template <class Value>
static void WriteArray(std::ostream& out, const std::string& attributes, std::size_t count, Value value) {
  out << "<DataArray " << attributes << " format=\"ascii\">\n";
  for (std::size_t i = 0; i < count; ++i) out << value(i) << "\n";
  out << "</DataArray>\n";
}

static void WriteField(std::ostream& out, const std::string& name, double value) {
  WriteArray(out, "type=\"Float64\" Name=\"" + name + "\" NumberOfTuples=\"1\"", 1,
             [&](std::size_t) { return schema::NumberText(value); });
}

void WriteVtpFrame(std::ostream& out, const v1::Frame& frame, const ShownBeads& beads) {
  const std::size_t n = beads.kinds.size();
  out << "<?xml version=\"1.0\"?>\n<!-- " << schema::Visible(frame.run())
      << ": positions in sigma, the diameter of a bead -->\n"
      << "<VTKFile type=\"PolyData\" version=\"0.1\" byte_order=\"LittleEndian\">\n<PolyData>\n<FieldData>\n";
  WriteField(out, "TimeValue", frame.time());
  WriteField(out, "time [tau]", frame.time());
  WriteField(out, "step", static_cast<double>(frame.step()));
  WriteField(out, "side_x [sigma]", frame.side_x());
  WriteField(out, "side_y [sigma]", frame.side_y());
  out << "</FieldData>\n<Piece NumberOfPoints=\"" << n << "\" NumberOfVerts=\"" << n
      << "\" NumberOfLines=\"0\" NumberOfStrips=\"0\" NumberOfPolys=\"0\">\n<PointData Scalars=\"kind\">\n";
  WriteArray(out, "type=\"UInt8\" Name=\"kind\"", n, [&](std::size_t i) { return std::to_string(beads.kinds[i]); });
  WriteArray(out, "type=\"Float32\" Name=\"angle [rad]\"", n, [&](std::size_t i) { return Text(beads.angles[i]); });
  out << "</PointData>\n<Points>\n";
  WriteArray(out, "type=\"Float32\" Name=\"position [sigma]\" NumberOfComponents=\"3\"", n, [&](std::size_t i) {
    return Text(beads.positions[2 * i]) + " " + Text(beads.positions[2 * i + 1]) + " 0";
  });
  out << "</Points>\n<Verts>\n";
  WriteArray(out, "type=\"Int64\" Name=\"connectivity\"", n, [](std::size_t i) { return i; });
  WriteArray(out, "type=\"Int64\" Name=\"offsets\"", n, [](std::size_t i) { return i + 1; });
  out << "</Verts>\n</Piece>\n</PolyData>\n</VTKFile>\n";
}

}  // namespace gyrebox::client
