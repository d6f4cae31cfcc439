#include "lib/client.h"

#include "lib/call.h"

namespace gyrebox::client {

Client::Client(const Endpoint& endpoint) {
  const auto channel = Connect(endpoint);
  studies_ = v1::StudyService::NewStub(channel);
  runs_ = v1::RunService::NewStub(channel);
  analysis_ = v1::AnalysisService::NewStub(channel);
  machine_ = v1::MachineService::NewStub(channel);
  users_ = v1::UserService::NewStub(channel);
}

absl::StatusOr<v1::Machine> Client::GetMachine() {
  return Call(*machine_, &v1::MachineService::Stub::GetMachine, v1::GetMachineRequest());
}

absl::StatusOr<v1::Machine> Client::DrainMachine(bool drain) {
  v1::DrainMachineRequest request;
  request.set_drain(drain);
  return Call(*machine_, &v1::MachineService::Stub::DrainMachine, request, /*tries=*/1);
}

absl::StatusOr<v1::CreateTokenResponse> Client::CreateToken(const v1::CreateTokenRequest& request) {
  return Call(*users_, &v1::UserService::Stub::CreateToken, request, /*tries=*/1);
}

absl::StatusOr<v1::ListTokensResponse> Client::ListTokens() {
  return AllPages(*users_, &v1::UserService::Stub::ListTokens, v1::ListTokensRequest(),
                  &v1::ListTokensResponse::mutable_tokens);
}

absl::StatusOr<v1::RevokeTokensResponse> Client::RevokeTokens(const v1::RevokeTokensRequest& request) {
  return Call(*users_, &v1::UserService::Stub::RevokeTokens, request, /*tries=*/1);
}

}  // namespace gyrebox::client
