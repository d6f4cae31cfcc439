#include "lib/refusal.h"

#include <absl/strings/cord.h>

#include "google/rpc/error_details.pb.h"
#include "google/rpc/status.pb.h"

namespace gyrebox::client {

constexpr char kStatusUrl[] = "type.googleapis.com/google.rpc.Status";

absl::Status ToStatus(const grpc::Status& status) {
  if (status.ok()) return absl::OkStatus();
  absl::Status same(static_cast<absl::StatusCode>(status.error_code()), status.error_message());
  if (!status.error_details().empty()) same.SetPayload(kStatusUrl, absl::Cord(status.error_details()));
  return same;
}

/// A detail of a refusal; none if it has none of that type.
template <class Detail>
static std::optional<Detail> DetailOf(const std::string& bytes) {
  google::rpc::Status status;
  if (!status.ParseFromString(bytes)) return std::nullopt;
  for (const auto& any : status.details()) {
    if (Detail detail; any.Is<Detail>() && any.UnpackTo(&detail)) return detail;
  }
  return std::nullopt;
}

template <class Detail>
static std::optional<Detail> DetailOf(const absl::Status& status) {
  const auto payload = status.GetPayload(kStatusUrl);
  return payload ? DetailOf<Detail>(std::string(*payload)) : std::nullopt;
}

std::vector<v1::FieldViolation> ViolationsOf(const absl::Status& status) {
  std::vector<v1::FieldViolation> violations;
  if (const auto request = DetailOf<google::rpc::BadRequest>(status)) {
    for (const auto& one : request->field_violations()) {
      violations.emplace_back().set_field(one.field());
      violations.back().set_description(one.description());
    }
  }
  return violations;
}

/// Whether a host is an address rather than a name.
static bool IsAddress(const std::string& host) {
  return host.find(':') != std::string::npos || host.find_first_not_of("0123456789.") == std::string::npos;
}

std::string CertificateFault(const absl::Status& status) {
  // gRPC says so in the text alone.
  const std::string message(status.message());
  constexpr char kBefore[] = "Peer name ", kAfter[] = " is not in peer certificate";
  const size_t end = message.find(kAfter), at = end == std::string::npos ? end : message.rfind(kBefore, end);
  if (at == std::string::npos) return "";
  const size_t begin = at + sizeof kBefore - 1;
  const std::string host = message.substr(begin, end - begin);
  return "the certificate of the server does not name " + host + ", the host in --server. It needs the subject " +
         "alternative name " + (IsAddress(host) ? "IP:" : "DNS:") + host + "; make a certificate with it, such as by " +
         "openssl req -addext subjectAltName=" + (IsAddress(host) ? "IP:" : "DNS:") + host +
         ", or give --server a name that the certificate has";
}

std::string ReasonOf(const absl::Status& status) {
  const auto info = DetailOf<google::rpc::ErrorInfo>(status);
  return info ? info->reason() : "";
}

std::optional<std::chrono::nanoseconds> RequestedDelay(const grpc::Status& status) {
  if (status.error_code() != grpc::StatusCode::RESOURCE_EXHAUSTED) return std::nullopt;
  const auto retry = DetailOf<google::rpc::RetryInfo>(status.error_details());
  if (!retry) return std::nullopt;
  return std::chrono::seconds(retry->retry_delay().seconds()) + std::chrono::nanoseconds(retry->retry_delay().nanos());
}

}  // namespace gyrebox::client
