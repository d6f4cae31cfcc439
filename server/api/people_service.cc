#include "api/people_service.h"

#include <spdlog/spdlog.h>

#include "api/answer.h"
#include "api/page.h"

namespace gyrebox::api {

constexpr int kTokensPerPage = 1000;

absl::StatusOr<v1::CreateTokenResponse> PeopleService::Create(const v1::CreateTokenRequest& request,
                                                              const access::Person& admin) {
  auto made = rooms_.gate.CreateToken(request);
  if (made.ok()) spdlog::info("{} made {} for {}", admin.name, made->token().name(), made->token().person());
  return made;
}

absl::StatusOr<v1::ListTokensResponse> PeopleService::List(const v1::ListTokensRequest& request) {
  const auto page = PageOf(request, "tokens", kTokensPerPage, kTokensPerPage);
  if (!page.ok()) return page.status();
  auto tokens = rooms_.gate.ListTokens();
  if (!tokens.ok()) return tokens.status();
  v1::ListTokensResponse response;
  FillFrom(*std::move(tokens), *page, response.mutable_tokens(), &response);
  return response;
}

absl::StatusOr<v1::RevokeTokensResponse> PeopleService::Revoke(const v1::RevokeTokensRequest& request,
                                                               const access::Person& admin) {
  const auto revoked = rooms_.gate.RevokeTokens(request);
  if (!revoked.ok()) return revoked.status();
  v1::RevokeTokensResponse response;
  response.mutable_tokens()->Assign(revoked->begin(), revoked->end());
  for (const v1::Token& token : *revoked) spdlog::info("{} revoked {} of {}", admin.name, token.name(), token.person());
  return response;
}

grpc::ServerUnaryReactor* PeopleService::CreateToken(grpc::CallbackServerContext* context,
                                                     const v1::CreateTokenRequest* request,
                                                     v1::CreateTokenResponse* response) {
  return AnswerOn(rooms_.steer_pool, rooms_, context, request, response,
                  [=, this](const access::Person& admin) { return Create(*request, admin); });
}

grpc::ServerUnaryReactor* PeopleService::ListTokens(grpc::CallbackServerContext* context,
                                                    const v1::ListTokensRequest* request,
                                                    v1::ListTokensResponse* response) {
  return AnswerOn(rooms_.steer_pool, rooms_, context, request, response, [=, this] { return List(*request); });
}

grpc::ServerUnaryReactor* PeopleService::RevokeTokens(grpc::CallbackServerContext* context,
                                                      const v1::RevokeTokensRequest* request,
                                                      v1::RevokeTokensResponse* response) {
  return AnswerOn(rooms_.steer_pool, rooms_, context, request, response,
                  [=, this](const access::Person& admin) { return Revoke(*request, admin); });
}

}  // namespace gyrebox::api
