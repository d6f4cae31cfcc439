#include "cli/report_frames.h"

#include <absl/strings/escaping.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <iostream>
#include <vector>

#include "cli/frame_file.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

/// More beads than this in a picture as wide as a page are specks.
constexpr int kMostBeads = 8000;
constexpr double kGrid = 65536;

/// Where a place lies in a window of a periodic bed, in steps of the grid.
static uint16_t GridPlace(double place, double begin, double size, double side) {
  const double way = place - begin - std::floor((place - begin) / side) * side;
  return static_cast<uint16_t>(std::clamp(std::floor(way / size * kGrid), 0.0, kGrid - 1));
}

static std::string PlacesBytes(const v1::Frame& frame) {
  const v1::FrameWindow& window = frame.window();
  const std::vector<float> places = BeadsOf(frame).places;
  std::string bytes;
  for (size_t i = 0; i + 1 < places.size(); i += 2) {
    for (const uint16_t steps : {GridPlace(places[i], window.x(), window.width(), frame.side_x()),
                                 GridPlace(places[i + 1], window.y(), window.height(), frame.side_y())}) {
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
         number("height", frame.window().height()) + ",\"places\":\"" + absl::Base64Escape(PlacesBytes(frame)) +
         "\",\"kinds\":\"" + absl::Base64Escape(frame.kinds()) + "\"}";
}

/// The part of a window about its centre that holds about as many beads as are shown.
static v1::FrameWindow Smaller(const v1::FrameWindow& window, int beads) {
  const double share = std::sqrt(static_cast<double>(kMostBeads) / beads);
  v1::FrameWindow smaller;
  smaller.set_width(share * window.width());
  smaller.set_height(share * window.height());
  smaller.set_x(window.x() + (window.width() - smaller.width()) / 2);
  smaller.set_y(window.y() + (window.height() - smaller.height()) / 2);
  return smaller;
}

std::string FramesJson(Client& client, const v1::Answers& answers) {
  std::string list;
  for (const v1::Snapshot& snapshot : answers.snapshots()) {
    auto frame = client.GetFrame(snapshot.run(), snapshot.step());
    const int beads = frame.ok() ? static_cast<int>(frame->kinds().size()) : 0;
    // Beads lie unevenly: up to a quarter more than were meant are shown all the same.
    if (beads > kMostBeads * 5 / 4) {
      frame = client.GetFrame(snapshot.run(), snapshot.step(), Smaller(frame->window(), beads));
    }
    if (!frame.ok())
      std::cerr << "gyrebox: no picture of "
                << schema::Visible(snapshot.run() + ": " + std::string(frame.status().message())) << "\n";
    list += (list.empty() ? "" : ",") + (frame.ok() ? FrameJson(*frame) : "null");
  }
  return "[" + list + "]";
}

}  // namespace gyrebox::client
