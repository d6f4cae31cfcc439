#include "study/validate.h"

#include "study/check_axes.h"
#include "study/check_choices.h"
#include "study/check_fields.h"
#include "study/check_points.h"
#include "study/violations.h"

namespace gyrebox::study {

std::vector<v1::FieldViolation> Validate(const v1::StudySpec& spec, const kernels::Device* device) {
  Violations violations;
  CheckFields(spec, &violations);
  CheckChoices(spec, &violations);
  CheckAxes(spec, &violations);
  CheckPoints(spec, device, &violations);
  return std::move(violations).Take();
}

}  // namespace gyrebox::study
