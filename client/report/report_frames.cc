#include "report/report_frames.h"

#include <absl/strings/escaping.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <iostream>
#include <map>
#include <vector>

#include "output/frame_file.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

/// Max beads in a frame as wide as a page; more would be specks.
constexpr int kMaxBeads = 8000;
/// Max beads in all frames of the map of beds together.
constexpr int kMaxBedBeads = 96000;
/// Max frames of a film, and beads in all of them together.
constexpr int kMaxFilmFrames = 60, kMaxFilmBeads = 120000;
constexpr double kGrid = 65536;

/// Position in a window of a periodic bed, in grid steps.
static uint16_t GridPosition(double position, double begin, double size, double side) {
  const double way = position - begin - std::floor((position - begin) / side) * side;
  return static_cast<uint16_t>(std::clamp(std::floor(way / size * kGrid), 0.0, kGrid - 1));
}

static std::string PositionBytes(const v1::Frame& frame) {
  const v1::FrameWindow& window = frame.window();
  const std::vector<float> positions = BeadsOf(frame).positions;
  std::string bytes;
  for (size_t i = 0; i + 1 < positions.size(); i += 2) {
    for (const uint16_t steps : {GridPosition(positions[i], window.x(), window.width(), frame.side_x()),
                                 GridPosition(positions[i + 1], window.y(), window.height(), frame.side_y())}) {
      bytes.push_back(static_cast<char>(steps & 0xff));
      bytes.push_back(static_cast<char>(steps >> 8));
    }
  }
  return bytes;
}

std::string FrameJson(const v1::Frame& frame) {
  const auto number = [](const char* name, double value) {
    return ",\"" + std::string(name) + "\":" + schema::NumberText(value);
  };
  return "{\"step\":" + std::to_string(frame.step()) + number("time", frame.time()) +
         number("bead_count", static_cast<double>(frame.bead_count())) + number("side_x", frame.side_x()) +
         number("side_y", frame.side_y()) + number("width", frame.window().width()) +
         number("height", frame.window().height()) + ",\"positions\":\"" + absl::Base64Escape(PositionBytes(frame)) +
         "\",\"kinds\":\"" + absl::Base64Escape(frame.kinds()) + "\"}";
}

/// The central part of a window with `beads` beads that holds about `most`.
static v1::FrameWindow Smaller(const v1::FrameWindow& window, int beads, int most) {
  const double fraction = std::sqrt(static_cast<double>(most) / beads);
  v1::FrameWindow smaller;
  smaller.set_width(fraction * window.width());
  smaller.set_height(fraction * window.height());
  smaller.set_x(window.x() + (window.width() - smaller.width()) / 2);
  smaller.set_y(window.y() + (window.height() - smaller.height()) / 2);
  return smaller;
}

/// A frame with at most about `most` beads.
static absl::StatusOr<v1::Frame> BoundedFrame(Client& client, const std::string& run, int64_t step, int most) {
  auto frame = client.GetFrame(run, step);
  const int beads = frame.ok() ? static_cast<int>(frame->kinds().size()) : 0;
  // The density varies, so up to a quarter more beads are accepted.
  return beads > most * 5 / 4 ? client.GetFrame(run, step, Smaller(frame->window(), beads, most)) : frame;
}

std::string FramesJson(Client& client, const v1::Answers& answers) {
  std::map<std::string, std::string> frames;
  const auto add = [&](const v1::Snapshot& snapshot, int most) {
    const std::string key = snapshot.run() + "@" + std::to_string(snapshot.step());
    if (frames.contains(key)) return;
    const auto frame = BoundedFrame(client, snapshot.run(), snapshot.step(), most);
    if (frame.ok()) {
      frames[key] = FrameJson(*frame);
    } else {
      std::cerr << "gyrebox: no frame of "
                << schema::Visible(snapshot.run() + ": " + std::string(frame.status().message())) << "\n";
    }
  };
  for (const v1::Snapshot& snapshot : answers.snapshots()) add(snapshot, kMaxBeads);
  for (const v1::Snapshot& bed : answers.beds()) add(bed, std::min(kMaxBeads, kMaxBedBeads / answers.beds_size()));
  std::string list;
  for (const auto& [key, frame] : frames) list += (list.empty() ? "\"" : ",\"") + key + "\":" + frame;
  return "{" + list + "}";
}

std::string FilmJson(Client& client, const std::string& run) {
  const auto kept = client.ListFrames(run);
  if (!kept.ok() || kept->frames_size() < 3) return "null";
  const int count = std::min(kept->frames_size(), kMaxFilmFrames);
  std::string list;
  for (int i = 0; i < count; ++i) {
    const v1::FrameStamp& stamp =
        kept->frames(static_cast<int>(static_cast<int64_t>(i) * (kept->frames_size() - 1) / std::max(1, count - 1)));
    const auto frame = BoundedFrame(client, run, stamp.step(), std::min(kMaxBeads, kMaxFilmBeads / count));
    if (frame.ok()) list += (list.empty() ? "" : ",") + FrameJson(*frame);
  }
  return "{\"run\":\"" + run + "\",\"frames\":[" + list + "]}";
}

}  // namespace gyrebox::client
