/// Bounds the work that a study makes, before any of it is done.
#pragma once

#include <cstddef>

#include "gyrebox/v1/study.pb.h"
#include "study/violations.h"

namespace gyrebox::study {

inline constexpr int kMostAxes = 4;
inline constexpr int kMostStages = 1000;
/// Largest number of runs of one study.
inline constexpr double kMostRuns = 100'000;
/// Most bytes of a study as a client sends it.
inline constexpr size_t kMostSpecBytes = 256 << 10;
/// Points, times what is looked at in each: one, and every stage, every number that a stage changes, and every change
/// that was steered. A check of a study with so much is meant to take under a second of one core of a server.
inline constexpr double kMostWork = 1'000'000;

/// Values of an axis, sound or not.
double CountValues(const v1::Axis& axis);

/// Faults of a study's size. The study is as it came, without its defaults: those take memory by its size.
void CheckSize(const v1::StudySpec& spec, Violations* violations);

/// Faults of a study as a client sends it: its bytes, and what only the server may put into it.
void CheckSent(const v1::StudySpec& spec, Violations* violations);

}  // namespace gyrebox::study
