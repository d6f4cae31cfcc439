#include "api/user_service.h"

#include <spdlog/spdlog.h>

#include "api/answer.h"
#include "api/page.h"

namespace gyrebox::api {

constexpr int kTokensPerPage = 1000;

absl::StatusOr<v1::CreateTokenResponse> UserService::Create(const v1::CreateTokenRequest& request,
                                                            const access::User& admin) {
  auto made = server_.authenticator.CreateToken(request);
  if (made.ok()) spdlog::info("{} made {} for {}", admin.name, made->token().name(), made->token().user());
  return made;
}

absl::StatusOr<v1::ListTokensResponse> UserService::List(const v1::ListTokensRequest& request) {
  const auto page = PageOf(request, "tokens", kTokensPerPage, kTokensPerPage);
  if (!page.ok()) return page.status();
  auto tokens = server_.authenticator.ListTokens();
  if (!tokens.ok()) return tokens.status();
  v1::ListTokensResponse response;
  FillFrom(*std::move(tokens), *page, response.mutable_tokens(), &response);
  return response;
}

absl::StatusOr<v1::RevokeTokensResponse> UserService::Revoke(const v1::RevokeTokensRequest& request,
                                                             const access::User& admin) {
  const auto revoked = server_.authenticator.RevokeTokens(request);
  if (!revoked.ok()) return revoked.status();
  v1::RevokeTokensResponse response;
  response.mutable_tokens()->Assign(revoked->begin(), revoked->end());
  for (const v1::Token& token : *revoked) spdlog::info("{} revoked {} of {}", admin.name, token.name(), token.user());
  return response;
}

grpc::ServerUnaryReactor* UserService::CreateToken(grpc::CallbackServerContext* context,
                                                   const v1::CreateTokenRequest* request,
                                                   v1::CreateTokenResponse* response) {
  return AnswerOn(server_.steer_pool, server_, context, request, response,
                  [=, this](const access::User& admin) { return Create(*request, admin); });
}

grpc::ServerUnaryReactor* UserService::ListTokens(grpc::CallbackServerContext* context,
                                                  const v1::ListTokensRequest* request,
                                                  v1::ListTokensResponse* response) {
  return AnswerOn(server_.steer_pool, server_, context, request, response, [=, this] { return List(*request); });
}

grpc::ServerUnaryReactor* UserService::RevokeTokens(grpc::CallbackServerContext* context,
                                                    const v1::RevokeTokensRequest* request,
                                                    v1::RevokeTokensResponse* response) {
  return AnswerOn(server_.steer_pool, server_, context, request, response,
                  [=, this](const access::User& admin) { return Revoke(*request, admin); });
}

}  // namespace gyrebox::api
