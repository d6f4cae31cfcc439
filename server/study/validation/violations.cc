#include "study/validation/violations.h"

#include <algorithm>

#include "schema/visible_text.h"

namespace gyrebox::study {

constexpr size_t kMaxFieldBytes = 256;
constexpr size_t kMaxDescriptionBytes = 512;

void Violations::Add(const std::string& field, const std::string& description) {
  if (full() || !seen_.emplace(field, description).second) return;
  v1::FieldViolation& violation = list_.emplace_back();
  violation.set_field(schema::Clipped(field, kMaxFieldBytes));
  violation.set_description(schema::Clipped(description, kMaxDescriptionBytes));
}

static bool Holds(const std::string& outer, const std::string& inner) {
  if (!inner.starts_with(outer)) return false;
  return inner.size() == outer.size() || inner[outer.size()] == '.' || inner[outer.size()] == '[';
}

bool Violations::Sound(const std::string& field) const {
  return !full() && std::none_of(list_.begin(), list_.end(), [&](const v1::FieldViolation& violation) {
    return Holds(violation.field(), field) || Holds(field, violation.field());
  });
}

}  // namespace gyrebox::study
