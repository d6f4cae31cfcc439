#include <bit>
#include <cstdint>
#include <cstring>
#include <fstream>
#include <iostream>
#include <sstream>

#include "commands/commands.h"
#include "output/frame_file.h"
#include "output/text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

static_assert(std::endian::native == std::endian::little, "frames come as little-endian numbers");

static std::vector<float> Floats(const std::string& bytes) {
  std::vector<float> numbers(bytes.size() / sizeof(float));
  if (!numbers.empty()) std::memcpy(numbers.data(), bytes.data(), numbers.size() * sizeof(float));
  return numbers;
}

ShownBeads BeadsOf(const v1::Frame& frame) {
  return {Floats(frame.positions()), Floats(frame.angles()), {frame.kinds().begin(), frame.kinds().end()}};
}

ExitCode Frame(const Session& session, const std::string& run, const std::string& path, std::optional<int64_t> step,
               const std::vector<double>& window) {
  const bool csv = path.ends_with(".csv");
  if (!csv && !path.ends_with(".vtp")) {
    std::cerr << "gyrebox: " << schema::Visible(path)
              << " has no known format; give a FILE that ends in .vtp or .csv\n";
    return kBadInput;
  }
  v1::FrameWindow part;
  if (!window.empty()) {
    part.set_x(window.at(0));
    part.set_y(window.at(1));
    part.set_width(window.at(2));
    part.set_height(window.at(3));
  }
  const auto frame = Client(session.server).GetFrame(RunName(run), step, part);
  if (!frame.ok()) return Report(session, frame.status());
  const ShownBeads beads = BeadsOf(*frame);
  if (beads.positions.size() != 2 * beads.kinds.size() || beads.angles.size() != beads.kinds.size()) {
    return Report(session, absl::InternalError("the server sent a frame with arrays of inconsistent length"));
  }
  std::ofstream out(path, std::ios::binary);
  csv ? WriteCsvFrame(out, *frame, beads) : WriteVtpFrame(out, *frame, beads);
  out.close();
  if (!out) return Report(session, absl::FailedPreconditionError("cannot write " + path));
  const auto shown = static_cast<int64_t>(beads.kinds.size());
  std::cerr << schema::Visible(run) << " at step " << frame->step() << ": " << Plural(shown, "bead");
  if (shown < frame->bead_count()) {
    std::cerr << " of " << frame->bead_count() << (window.empty() ? ", about the centre of the bed" : "");
  }
  std::cerr << "\n";
  if (session.json) PrintJson(*frame);
  return kDone;
}

}  // namespace gyrebox::client
