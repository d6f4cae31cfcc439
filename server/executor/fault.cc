#include "executor/fault.h"

namespace gyrebox::executor {

static const char* ReasonName(kernels::Fault::Reason reason) {
  switch (reason) {
    case kernels::Fault::Reason::kClosestPair:
      return "CLOSEST_PAIR";
    case kernels::Fault::Reason::kLargestMove:
      return "LARGEST_MOVE";
    case kernels::Fault::Reason::kLostBeads:
      return "LOST_BEADS";
    case kernels::Fault::Reason::kNotFinite:
      return "NOT_FINITE";
    case kernels::Fault::Reason::kNotConverged:
      return "NOT_CONVERGED";
    case kernels::Fault::Reason::kStartNotReached:
      return "START_NOT_REACHED";
  }
  return "DEVICE";
}

static v1::Fault::Cause ToCause(kernels::Fault::Cause cause) {
  switch (cause) {
    case kernels::Fault::Cause::kNumerical:
      return v1::Fault::CAUSE_NUMERICAL;
    case kernels::Fault::Cause::kPhysical:
      return v1::Fault::CAUSE_PHYSICAL;
    case kernels::Fault::Cause::kNotTried:
      return v1::Fault::CAUSE_NOT_TRIED;
  }
  return v1::Fault::CAUSE_UNSPECIFIED;
}

v1::Fault ToFault(const kernels::Fault& fault) {
  v1::Fault told;
  told.set_reason(ReasonName(fault.reason));
  told.set_message(fault.message);
  told.set_step(fault.step);
  told.set_time(fault.time);
  told.mutable_beads()->Assign(fault.beads.begin(), fault.beads.end());
  told.mutable_position()->Assign(fault.position.begin(), fault.position.end());
  told.set_cause(ToCause(fault.cause));
  return told;
}

}  // namespace gyrebox::executor
