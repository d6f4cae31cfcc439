/// Courses of recently steered runs.
#pragma once

#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <utility>

#include "study/steered_course.h"

namespace gyrebox::executor {

/// Cache of the courses of recently steered runs, which avoids reading their journals again. Thread-safe.
class CourseBook {
 public:
  std::optional<study::SteeredCourse> Find(int64_t study, int64_t run) const;
  void Keep(int64_t study, int64_t run, const study::SteeredCourse& course);

 private:
  mutable std::mutex mutex_;
  std::map<std::pair<int64_t, int64_t>, study::SteeredCourse> courses_;  ///< guarded by mutex_
};

}  // namespace gyrebox::executor
