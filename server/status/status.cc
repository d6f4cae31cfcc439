#include "status/status.h"

#include <absl/strings/cord.h>
#include <google/protobuf/util/time_util.h>

#include <cmath>
#include <string>

#include "google/rpc/error_details.pb.h"
#include "google/rpc/status.pb.h"
#include "schema/visible_text.h"

namespace gyrebox::api {

/// Details and message share one trailer.
constexpr size_t kMaxDetailBytes = 6 * 1024;
constexpr size_t kMaxMessageBytes = 512;
/// Room for field violations: the rest holds the message and what encloses it.
constexpr size_t kMaxViolationBytes = kMaxDetailBytes - kMaxMessageBytes - 512;
constexpr size_t kMaxFieldBytes = 256;
constexpr size_t kMaxDescriptionBytes = 1024;
constexpr double kRetrySeconds = 1;

template <class Detail>
static std::string UrlOf() {
  return "type.googleapis.com/" + Detail::descriptor()->full_name();
}

/// Attaches a detail to a status until it is sent.
template <class Detail>
static void Keep(const Detail& detail, absl::Status* status) {
  status->SetPayload(UrlOf<Detail>(), absl::Cord(detail.SerializeAsString()));
}

/// Takes violations as long as they fit, then says how many more there are.
static google::rpc::BadRequest Fitting(const std::vector<v1::FieldViolation>& violations) {
  google::rpc::BadRequest request;
  size_t bytes = 0;
  for (size_t i = 0; i < violations.size(); ++i) {
    auto& one = *request.add_field_violations();
    one.set_field(schema::Clipped(violations[i].field(), kMaxFieldBytes));
    one.set_description(schema::Clipped(violations[i].description(), kMaxDescriptionBytes));
    bytes += one.ByteSizeLong() + 4;
    if (bytes <= kMaxViolationBytes) continue;
    one.set_field("");
    one.set_description("and " + std::to_string(violations.size() - i) + " more faults; a check lists them");
    break;
  }
  return request;
}

static absl::Status Invalid(const std::string& message, const char* reason,
                            const std::vector<v1::FieldViolation>& violations) {
  absl::Status status = WithReason(absl::InvalidArgumentError(message), reason);
  Keep(Fitting(violations), &status);
  return status;
}

absl::Status InvalidStudy(const std::vector<v1::FieldViolation>& violations) {
  // Validation stops counting just above this.
  constexpr size_t kCapacity = 1000;
  const std::string count = violations.size() == 1          ? "a fault"
                            : violations.size() > kCapacity ? "over " + std::to_string(kCapacity) + " faults"
                                                            : std::to_string(violations.size()) + " faults";
  return Invalid("the study has " + count, "INVALID_STUDY", violations);
}

absl::Status InvalidRequest(const std::vector<v1::FieldViolation>& violations) {
  std::string text = violations[0].field() + ": " + violations[0].description();
  if (violations.size() > 1) text += " (and " + std::to_string(violations.size() - 1) + " more)";
  return Invalid(text, "INVALID_REQUEST", violations);
}

static google::rpc::RetryInfo RetryAfter(double seconds) {
  google::rpc::RetryInfo retry;
  *retry.mutable_retry_delay() =
      google::protobuf::util::TimeUtil::MillisecondsToDuration(std::llround(std::ceil(1000 * seconds)));
  return retry;
}

absl::Status TooMany(const std::string& message, double retry_seconds) {
  absl::Status status = absl::ResourceExhaustedError(message);
  Keep(RetryAfter(retry_seconds), &status);
  return status;
}

absl::Status TooManyCalls() { return TooMany("too many calls; try again later", kRetrySeconds); }

absl::Status WithReason(absl::Status status, const std::string& reason) {
  google::rpc::ErrorInfo info;
  info.set_reason(reason);
  info.set_domain(kErrorDomain);
  Keep(info, &status);
  return status;
}

static const char* ReasonOf(absl::StatusCode code) {
  switch (code) {
    case absl::StatusCode::kInvalidArgument:
      return "INVALID_REQUEST";
    case absl::StatusCode::kNotFound:
      return "NOT_FOUND";
    case absl::StatusCode::kAlreadyExists:
      return "REQUEST_ID_TAKEN";
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
    case absl::StatusCode::kUnimplemented:
      return "NO_SUCH_METHOD";
    default:
      return "INTERNAL";
  }
}

/// The failed precondition. Messages name the resource first, such as "studies/7 is cancelled already".
static google::rpc::PreconditionFailure FailureOf(const std::string& message) {
  google::rpc::PreconditionFailure failure;
  auto& violation = *failure.add_violations();
  violation.set_type(ReasonOf(absl::StatusCode::kFailedPrecondition));
  if (message.starts_with("studies/")) violation.set_subject(message.substr(0, message.find(' ')));
  violation.set_description(message);
  return failure;
}

/// Adds the details that the code of a status implies.
static absl::Status Completed(absl::Status status) {
  if (!status.GetPayload(UrlOf<google::rpc::ErrorInfo>())) status = WithReason(status, ReasonOf(status.code()));
  if (absl::IsUnavailable(status)) Keep(RetryAfter(kRetrySeconds), &status);
  if (absl::IsFailedPrecondition(status)) {
    Keep(FailureOf(schema::Clipped(std::string(status.message()), kMaxMessageBytes)), &status);
  }
  return status;
}

grpc::Status ToGrpcStatus(const absl::Status& status) {
  if (status.ok()) return grpc::Status::OK;
  google::rpc::Status sent;
  sent.set_code(static_cast<int>(status.code()));
  sent.set_message(schema::Clipped(std::string(status.message()), kMaxMessageBytes));
  Completed(status).ForEachPayload([&](absl::string_view url, const absl::Cord& bytes) {
    auto& detail = *sent.add_details();
    detail.set_type_url(std::string(url));
    detail.set_value(std::string(bytes));
  });
  return {static_cast<grpc::StatusCode>(status.code()), sent.message(), sent.SerializeAsString()};
}

}  // namespace gyrebox::api
