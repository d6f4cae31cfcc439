#include <bit>
#include <cstdint>
#include <cstring>
#include <fstream>
#include <iostream>
#include <sstream>

#include "commands/registry.h"
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

static ExitCode Frame(const Session& session, const std::string& run, const std::string& path,
                      std::optional<int64_t> step, const std::vector<double>& window) {
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

void RegisterFrameCommand(Registry& registry) {
  struct Options {
    std::string name, file;
    std::optional<int64_t> step;
    std::vector<double> window;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* frame = TakeRun(registry.AddWithJson("frame", "Write a frame of a run to a file",
                                                 [o](const Session& session) {
                                                   return Frame(session, o->name, o->file, o->step, o->window);
                                                 }),
                            &o->name);
  frame->add_option("FILE", o->file, "File that ends in .vtp (VTK XML PolyData) or .csv")->required();
  frame->add_option("--window", o->window, "Part of the bed in sigma: lower corner and size; may cross the sides")
      ->expected(4)
      ->type_name("X Y WIDTH HEIGHT");
  frame->add_option("--step", o->step, "Step of a kept frame or state, or the nearest before it; default: the newest");
}

}  // namespace gyrebox::client
