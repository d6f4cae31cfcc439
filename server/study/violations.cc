#include "study/violations.h"

#include <algorithm>

namespace gyrebox::study {

void Violations::Add(const std::string& field, const std::string& description) {
  if (!seen_.emplace(field, description).second) return;
  v1::FieldViolation& violation = list_.emplace_back();
  violation.set_field(field);
  violation.set_description(description);
}

static bool Holds(const std::string& outer, const std::string& inner) {
  if (!inner.starts_with(outer)) return false;
  return inner.size() == outer.size() || inner[outer.size()] == '.' || inner[outer.size()] == '[';
}

bool Violations::Sound(const std::string& field) const {
  return std::none_of(list_.begin(), list_.end(), [&](const v1::FieldViolation& violation) {
    return Holds(violation.field(), field) || Holds(field, violation.field());
  });
}

}  // namespace gyrebox::study
