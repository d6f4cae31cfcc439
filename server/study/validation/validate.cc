#include "study/validation/validate.h"

#include "study/validation/check_axes.h"
#include "study/validation/check_choices.h"
#include "study/validation/check_fields.h"
#include "study/validation/check_points.h"
#include "study/validation/check_size.h"
#include "study/validation/violations.h"

namespace gyrebox::study {

std::vector<v1::FieldViolation> Validate(const v1::StudySpec& spec, const kernels::Device* device,
                                         const FoundRun* saved, const Stop& stop) {
  Violations violations;
  CheckSize(spec, &violations);
  if (!violations.empty()) return std::move(violations).Take();
  CheckFields(spec, &violations);
  CheckChoices(spec, &violations);
  CheckAxes(spec, &violations);
  const bool has_saved = spec.start().has_saved() && saved != nullptr;
  if (has_saved) CheckSavedStart(spec, *saved, &violations);
  CheckPoints(spec, device, has_saved && saved->ok() ? (*saved)->beads : nullptr, stop, &violations);
  auto found = std::move(violations).Take();
  // If there is no run to take the bed from, report that, and not that the bed is missing.
  if (has_saved && !saved->ok() && !spec.bed().has_bead_count()) {
    std::erase_if(found, [](const v1::FieldViolation& fault) { return fault.field() == "bed.bead_count"; });
  }
  return found;
}

}  // namespace gyrebox::study
