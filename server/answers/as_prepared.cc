#include "answers/as_prepared.h"

#include <cmath>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// Starts of another study: none of them is one of the study's own.
constexpr int kOtherStudy = 1'000'000;

/// A number of each realization of a sample. Realizations of another study have starts of their own.
static CurvePoint NumbersOf(const AsPreparedSample& sample, const NumberOf& number) {
  CurvePoint values = CurvePointOf(*sample.point, 0, number);
  if (!sample.same_starts) {
    for (int& start : values.starts) start += kOtherStudy;
  }
  return values;
}

CurvePoint AsPreparedSample::Values(const Average& average) const {
  return NumbersOf(*this, [&](const RunDigest& run) { return average.At(run, 0); });
}

CurvePoint AsPreparedSample::Between(double from, double to) const {
  const double bin = point->stages.back().end / kCourseBins;
  return NumbersOf(*this, [&](const RunDigest& run) {
    Moments sizes;
    for (size_t k = 0; k < run.course.size(); ++k) {
      const double time = (static_cast<double>(k) + 0.5) * bin;
      if (time >= from && time <= to && !std::isnan(run.course[k])) sizes.Add(run.course[k]);
    }
    return sizes.count() == 0 ? kNone : sizes.mean();
  });
}

AsPrepared::AsPrepared(const StudyData& data, const StudyData* control) {
  Add(data, true);
  if (control != nullptr) Add(*control, false);
}

void AsPrepared::Add(const StudyData& data, bool same_starts) {
  for (const Point& point : data.points) {
    const Stage& first = point.stages.front();
    if (first.ramps || point.counts().unstable * 2 > static_cast<int>(point.runs.size())) continue;
    if (Values(point, [](const RunDigest& run) { return run.stages.front().mean; }).empty()) continue;
    AsPreparedSample& known = samples_[first.bed_and_drive];
    if (known.point == nullptr || first.end > known.age) known = {&point, first.end, same_starts};
  }
}

const AsPreparedSample* AsPrepared::Under(const std::string& bed_and_drive) const {
  const auto found = samples_.find(bed_and_drive);
  return found == samples_.end() ? nullptr : &found->second;
}

}  // namespace gyrebox::analysis
