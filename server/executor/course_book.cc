#include "executor/course_book.h"

namespace gyrebox::executor {

constexpr size_t kMaxCourses = 1000;

std::optional<study::SteeredCourse> CourseBook::Find(int64_t study, int64_t run) const {
  std::lock_guard lock(mutex_);
  const auto found = courses_.find({study, run});
  return found == courses_.end() ? std::nullopt : std::optional(found->second);
}

void CourseBook::Keep(int64_t study, int64_t run, const study::SteeredCourse& course) {
  std::lock_guard lock(mutex_);
  if (courses_.size() >= kMaxCourses) courses_.clear();
  courses_.insert_or_assign({study, run}, course);
}

}  // namespace gyrebox::executor
