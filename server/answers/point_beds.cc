// One bed of every point, for a map of beds.
#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "answers/answer_parts.h"
#include "answers/snapshots.h"
#include "store/names.h"

namespace gyrebox::analysis {

/// Every how many values of each axis a bed is shown, so that at most kMaxBeds remain.
static std::vector<size_t> StridesOf(const StudyData& data) {
  std::vector<size_t> strides(data.axes.size(), 1);
  const auto left = [&](size_t axis) {
    return (static_cast<size_t>(data.axes[axis].values_size()) + strides[axis] - 1) / strides[axis];
  };
  for (;;) {
    size_t all = 1, longest = 0;
    for (size_t axis = 0; axis < strides.size(); ++axis) {
      all *= left(axis);
      if (left(axis) > left(longest)) longest = axis;
    }
    if (all <= kMaxBeds) return strides;
    ++strides[longest];
  }
}

static bool IsShown(const StudyData& data, const Point& point, const std::vector<size_t>& strides) {
  for (size_t axis = 0; axis < strides.size(); ++axis) {
    const auto& values = data.axes[axis].values();
    const auto at = std::find(values.begin(), values.end(), point.axis_values[axis]);
    if (static_cast<size_t>(at - values.begin()) % strides[axis] != 0) return false;
  }
  return true;
}

absl::Status AddBeds(store::Store& store, const StudyData& data, v1::Answers* answers) {
  if (data.points.size() < 2) return absl::OkStatus();
  const auto strides = StridesOf(data);
  const int64_t study = store::ParseStudyName(data.study.name()).value_or(0);
  for (const Point& point : data.points) {
    const RunDigest* run = IsShown(data, point, strides) ? TypicalOf(point) : nullptr;
    if (run == nullptr) continue;
    const auto step = store.frames().Find(study, run->number, std::numeric_limits<int64_t>::max());
    if (!step.ok()) return step.status();
    if (!step->has_value()) continue;
    v1::Snapshot& bed = *answers->add_beds();
    bed.set_run(data.study.name() + "/runs/" + std::to_string(run->number));
    bed.set_step(**step);
    bed.set_caption("typical realization");
    for (const v1::AxisSetting& setting : SettingsOf(data, point)) *bed.add_at() = setting;
    if (!std::isnan(run->size())) bed.set_value(run->size());
  }
  return absl::OkStatus();
}

}  // namespace gyrebox::analysis
