#include "executor/steer_request.h"

#include "schema/number_text.h"

namespace gyrebox::executor {

constexpr double kMaxTime = 1e9;

void CheckRequest(const SteerRequest& request, std::vector<v1::FieldViolation>* faults) {
  const auto fault = [&](const char* field, const std::string& what) {
    faults->emplace_back().set_field(field);
    faults->back().set_description(what);
  };
  if (request.kind == v1::Adjustment::KIND_CHANGE && request.changes.empty()) {
    fault("changes", "is missing; give at least one field and its new value");
  }
  if (!(request.ramp_time >= 0 && request.ramp_time <= kMaxTime)) {
    fault("ramp_time",
          schema::NumberText(request.ramp_time) + " is no time for a ramp; at least 0 and at most 1e9 tau");
  }
  if (request.kind == v1::Adjustment::KIND_EXTEND && !(request.more_time > 0 && request.more_time <= kMaxTime)) {
    fault("time", schema::NumberText(request.more_time) + " is no time to add; over 0 and at most 1e9 tau");
  }
}

}  // namespace gyrebox::executor
