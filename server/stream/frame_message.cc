#include "stream/frame_message.h"

#include <algorithm>
#include <cmath>
#include <cstring>

#include "gyrebox/bed_state.h"
#include "schema/number_text.h"

namespace gyrebox::stream {

using schema::NumberText;

/// A rectangle of a periodic bed.
class Rectangle {
 public:
  Rectangle(const v1::FrameWindow& window, const kernels::SavedBed& bed) : window_(window), bed_(bed) {}

  bool Holds(size_t i) const {
    return Within(kernels::PositionOf(bed_.x[i], bed_.side_x) - window_.x(), bed_.side_x, window_.width()) &&
           Within(kernels::PositionOf(bed_.y[i], bed_.side_y) - window_.y(), bed_.side_y, window_.height());
  }

 private:
  static bool Within(double way, double side, double size) {
    return size >= side || way - std::floor(way / side) * side < size;
  }

  const v1::FrameWindow& window_;
  const kernels::SavedBed& bed_;
};

static v1::FrameWindow Centred(const kernels::SavedBed& bed, double fraction) {
  v1::FrameWindow window;
  window.set_width(fraction * bed.side_x);
  window.set_height(fraction * bed.side_y);
  window.set_x((bed.side_x - window.width()) / 2);
  window.set_y((bed.side_y - window.height()) / 2);
  return window;
}

/// Largest window that a message holds, about the centre of the bed and with its aspect ratio.
static v1::FrameWindow Largest(const kernels::SavedBed& bed) {
  if (static_cast<int64_t>(bed.x.size()) <= kMaxBeadsShown) return Centred(bed, 1);
  std::vector<double> fractions(bed.x.size());  // of the bed that must be shown to include a bead
  for (size_t i = 0; i < fractions.size(); ++i) {
    fractions[i] = 2 * std::max(std::abs(kernels::PositionOf(bed.x[i], 1) - 0.5),
                                std::abs(kernels::PositionOf(bed.y[i], 1) - 0.5));
  }
  const auto too_many = fractions.begin() + kMaxBeadsShown;
  std::nth_element(fractions.begin(), too_many, fractions.end());
  // Halfway between the first bead too many and the next one further in: several beads may be equally far out.
  double before = 0;
  for (const double fraction : fractions) before = fraction < *too_many ? std::max(before, fraction) : before;
  return Centred(bed, (before + *too_many) / 2);
}

static void Fault(const char* field, const std::string& what, std::vector<v1::FieldViolation>* faults) {
  v1::FieldViolation& fault = faults->emplace_back();
  fault.set_field(std::string("window.") + field);
  fault.set_description(what);
}

static std::vector<v1::FieldViolation> FaultsOf(const v1::FrameWindow& window, const kernels::SavedBed& bed) {
  std::vector<v1::FieldViolation> faults;
  const auto corner = [&](const char* name, double at) {
    if (!std::isfinite(at)) Fault(name, NumberText(at) + " is no place; a number of sigma", &faults);
  };
  const auto size = [&](const char* name, double length, double side) {
    if (length > 0 && length <= side) return;
    Fault(name,
          NumberText(length) + " sigma is no size of a window; over 0 and at most the side of the bed, " +
              NumberText(side) + " sigma, or neither width nor height for as much as there is room for",
          &faults);
  };
  corner("x", window.x());
  corner("y", window.y());
  size("width", window.width(), bed.side_x);
  size("height", window.height(), bed.side_y);
  return faults;
}

static void Append(double number, std::string* bytes) {
  const auto value = static_cast<float>(number);
  bytes->append(reinterpret_cast<const char*>(&value), sizeof(value));
}

static void AddBeads(const kernels::SavedBed& bed, const std::vector<size_t>& shown, v1::Frame* frame) {
  frame->mutable_positions()->reserve(2 * sizeof(float) * shown.size());
  for (const size_t i : shown) {
    Append(kernels::PositionOf(bed.x[i], bed.side_x), frame->mutable_positions());
    Append(kernels::PositionOf(bed.y[i], bed.side_y), frame->mutable_positions());
    Append(kernels::AngleOf(bed.angle[i]), frame->mutable_angles());
    frame->mutable_kinds()->push_back(static_cast<char>(bed.spinner[i]));
  }
}

FrameMessage ToMessage(const std::string& run, const store::Frame& frame, const v1::FrameWindow& asked) {
  FrameMessage message;
  const kernels::SavedBed& bed = frame.beads;
  const bool sized = asked.width() != 0 || asked.height() != 0 || asked.x() != 0 || asked.y() != 0;
  const v1::FrameWindow window = sized ? asked : Largest(bed);
  if (sized) message.faults = FaultsOf(window, bed);
  if (!message.faults.empty()) return message;
  std::vector<size_t> shown;
  const Rectangle rectangle(window, bed);
  for (size_t i = 0; i < bed.x.size(); ++i) {
    if (rectangle.Holds(i)) shown.push_back(i);
  }
  if (static_cast<int64_t>(shown.size()) > kMaxBeadsShown) {
    Fault("width",
          NumberText(window.width()) + " by " + NumberText(window.height()) + " sigma hold " +
              std::to_string(shown.size()) + " beads; at most " + std::to_string(kMaxBeadsShown) +
              ". Give a smaller window",
          &message.faults);
    return message;
  }
  v1::Frame& out = message.frame;
  out.set_run(run);
  out.set_step(frame.step);
  out.set_time(frame.time);
  out.set_bead_count(static_cast<int64_t>(bed.x.size()));
  out.set_side_x(bed.side_x);
  out.set_side_y(bed.side_y);
  *out.mutable_window() = window;
  AddBeads(bed, shown, &out);
  return message;
}

}  // namespace gyrebox::stream
