// Stages of the schedule beside plots over the time of a run.
#include <algorithm>

#include "answers/answer_parts.h"

namespace gyrebox::analysis {

/// Max curves whose stages are written.
constexpr size_t kMaxStagedCurves = 50;

static void WriteStages(const StudyData& data, v1::Plot* plot) {
  for (size_t i = 0; i < std::min(data.points.size(), kMaxStagedCurves); ++i) {
    const Point& point = data.points[i];
    for (const Stage& stage : point.stages) {
      v1::PlotStage& written = *plot->add_stages();
      written.set_label(stage.label);
      for (const v1::AxisSetting& setting : SettingsOf(data, point)) *written.add_at() = setting;
      written.set_begin(stage.begin);
      written.set_end(stage.end);
      written.set_amplitude(stage.amplitude);
      written.set_ramps(stage.ramps);
    }
  }
}

void AddStages(const StudyData& data, v1::Answers* answers) {
  for (v1::Answer& answer : *answers->mutable_answers()) {
    for (v1::Plot& plot : *answer.mutable_plots()) {
      for (const v1::PlotColumn& column : plot.columns()) {
        if (column.role() == v1::PlotColumn::ROLE_X && column.name() == "time") WriteStages(data, &plot);
      }
    }
  }
}

}  // namespace gyrebox::analysis
