/// Bounds the work that a study causes before any of it is done.
#pragma once

#include <cstddef>

#include "gyrebox/v1/study.pb.h"
#include "study/validation/violations.h"

namespace gyrebox::study {

inline constexpr int kMaxAxes = 4;
inline constexpr int kMaxStages = 1000;
/// Max runs of one study.
inline constexpr double kMaxRuns = 100'000;
/// Max bytes of a study as a client sends it.
inline constexpr size_t kMaxSpecBytes = 256 << 10;
/// Max points times items checked at each: 1, plus stages, numbers that stages change, and steered adjustments.
/// Checking a study of this size should take under a second on one server core.
inline constexpr double kMaxWork = 1'000'000;

/// Number of values of an axis, valid or not.
double CountValues(const v1::Axis& axis);

/// Adds faults of the size of a study. Needs no defaults: call it before FillDefaults(), which takes memory in
/// proportion to the size of the study.
void CheckSize(const v1::StudySpec& spec, Violations* violations);

/// Adds faults of a study as a client sends it: its bytes, and fields that only the server may set.
void CheckSent(const v1::StudySpec& spec, Violations* violations);

}  // namespace gyrebox::study
