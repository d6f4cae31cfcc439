#include "api/self_call.h"

#include <grpcpp/grpcpp.h>
#include <grpcpp/security/tls_certificate_verifier.h>
#include <grpcpp/security/tls_credentials_options.h>
#include <spdlog/spdlog.h>

#include <chrono>
#include <memory>

#include "grpc/health/v1/health.grpc.pb.h"

namespace gyrebox::api {

constexpr std::chrono::seconds kDeadline{10};

static std::shared_ptr<grpc::ChannelCredentials> Credentials(bool tls) {
  if (!tls) return grpc::InsecureChannelCredentials();
  grpc::experimental::TlsChannelCredentialsOptions options;
  options.set_verify_server_certs(false);
  options.set_check_call_host(false);
  options.set_certificate_verifier(std::make_shared<grpc::experimental::NoOpCertificateVerifier>());
  return grpc::experimental::TlsCredentials(options);
}

absl::Status CallHealth(const std::string& address, bool tls) {
  grpc::ChannelArguments arguments;
  arguments.SetInt(GRPC_ARG_USE_LOCAL_SUBCHANNEL_POOL, 1);  // a connection that no other call uses
  arguments.SetInt(GRPC_ARG_ENABLE_HTTP_PROXY, 0);
  const auto channel = grpc::CreateCustomChannel(address, Credentials(tls), arguments);
  const auto health = grpc::health::v1::Health::NewStub(channel);
  grpc::ClientContext context;
  context.set_deadline(std::chrono::system_clock::now() + kDeadline);
  grpc::health::v1::HealthCheckResponse response;
  const grpc::Status status = health->Check(&context, {}, &response);
  if (status.ok()) return absl::OkStatus();
  return absl::Status(static_cast<absl::StatusCode>(status.error_code()), status.error_message());
}

void SelfCall::Call() {
  const int64_t before = turned_away_();
  const absl::Status status = call_();
  if (status.ok()) failed_ = 0;
  if (status.ok() || turned_away_() != before) return;
  spdlog::warn("the server did not answer a call of its own: {}", status.ToString());
  if (++failed_ == kMaxFailedSelfCalls) give_up_();
}

}  // namespace gyrebox::api
