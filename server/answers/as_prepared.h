/// As-prepared samples: fresh starts that were never driven otherwise, and what they were at any age.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "answers/answer_parts.h"
#include "digest/study_data.h"

namespace gyrebox::analysis {

/// Max relative difference of two ages that count as equal.
inline constexpr double kSameAge = 0.01;

/// The runs of one point under its first drive.
struct AsPreparedSample {
  const Point* point = nullptr;
  double age = 0;            ///< at the end of its first stage, tau
  bool same_starts = false;  ///< of the study itself: its realizations start as the same beds

  /// Whether it stayed under its drive to this age, tau.
  bool Reaches(double other_age) const { return age >= other_age * (1 - kSameAge); }
  /// Plateaus of the first stage. Realizations pair only within one study.
  CurvePoint Values(const Average& average) const;
  /// Mean size of each realization from one time to another, in tau; needs a course of the whole run.
  CurvePoint Between(double from, double to) const;
};

/// The as-prepared samples of a study and of its control study, by bed and drive: the oldest of each.
class AsPrepared {
 public:
  /// Both must live as long. @param control may be null.
  AsPrepared(const StudyData& data, const StudyData* control);

  /// Null if there is none.
  const AsPreparedSample* Under(const std::string& bed_and_drive) const;

 private:
  void Add(const StudyData& data, bool same_starts);

  std::map<std::string, AsPreparedSample> samples_;
};

}  // namespace gyrebox::analysis
