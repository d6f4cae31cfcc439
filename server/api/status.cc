#include "api/status.h"

#include <absl/strings/cord.h>

#include <optional>
#include <string>

namespace gyrebox::api {

/// Details travel in a trailer, which most peers limit to 8 KiB.
constexpr size_t kMostDetailBytes = 6 * 1024;
constexpr char kDetailUrl[] = "type.googleapis.com/gyrebox.v1.ErrorDetail";
constexpr double kRetrySeconds = 1;

/// Takes violations as long as they fit, then says how many more there are.
static v1::ErrorDetail Fitting(const char* reason, const std::vector<v1::FieldViolation>& violations) {
  v1::ErrorDetail detail;
  detail.set_reason(reason);
  for (size_t i = 0; i < violations.size(); ++i) {
    if (detail.ByteSizeLong() + violations[i].ByteSizeLong() > kMostDetailBytes) {
      v1::FieldViolation& rest = *detail.add_field_violations();
      rest.set_description("and " + std::to_string(violations.size() - i) + " more faults; a check lists all of them");
      break;
    }
    *detail.add_field_violations() = violations[i];
  }
  return detail;
}

absl::Status InvalidStudy(const std::vector<v1::FieldViolation>& violations) {
  const std::string count = violations.size() == 1 ? "a fault" : std::to_string(violations.size()) + " faults";
  absl::Status status = absl::InvalidArgumentError("the study has " + count);
  status.SetPayload(kDetailUrl, absl::Cord(Fitting("INVALID_STUDY", violations).SerializeAsString()));
  return status;
}

absl::Status InvalidRequest(const std::vector<v1::FieldViolation>& violations) {
  std::string text = violations[0].field() + ": " + violations[0].description();
  if (violations.size() > 1) text += " (and " + std::to_string(violations.size() - 1) + " more)";
  absl::Status status = absl::InvalidArgumentError(text);
  status.SetPayload(kDetailUrl, absl::Cord(Fitting("INVALID_REQUEST", violations).SerializeAsString()));
  return status;
}

absl::Status TooMany(const std::string& message, double retry_seconds) {
  v1::ErrorDetail detail;
  detail.set_reason("TOO_MANY");
  detail.set_retry_delay_seconds(retry_seconds);
  absl::Status status = absl::ResourceExhaustedError(message);
  status.SetPayload(kDetailUrl, absl::Cord(detail.SerializeAsString()));
  return status;
}

absl::Status TooManyCalls() { return TooMany("too many calls; try again later", kRetrySeconds); }

static const char* ReasonOf(absl::StatusCode code) {
  switch (code) {
    case absl::StatusCode::kInvalidArgument:
      return "INVALID_REQUEST";
    case absl::StatusCode::kNotFound:
      return "NOT_FOUND";
    case absl::StatusCode::kFailedPrecondition:
      return "WRONG_STATE";
    case absl::StatusCode::kAborted:
      return "CHANGED_SINCE";
    case absl::StatusCode::kUnauthenticated:
      return "NO_VALID_TOKEN";
    case absl::StatusCode::kPermissionDenied:
      return "NOT_ALLOWED";
    case absl::StatusCode::kUnavailable:
      return "SHUTTING_DOWN";
    case absl::StatusCode::kResourceExhausted:
      return "TOO_MANY";
    default:
      return "INTERNAL";
  }
}

grpc::Status ToGrpcStatus(const absl::Status& status) {
  if (status.ok()) return grpc::Status::OK;
  std::string details;
  if (const auto payload = status.GetPayload(kDetailUrl)) {
    details = std::string(*payload);
  } else {
    v1::ErrorDetail detail;
    detail.set_reason(ReasonOf(status.code()));
    if (absl::IsUnavailable(status)) detail.set_retry_delay_seconds(kRetrySeconds);
    details = detail.SerializeAsString();
  }
  return {static_cast<grpc::StatusCode>(status.code()), std::string(status.message()), details};
}

}  // namespace gyrebox::api
