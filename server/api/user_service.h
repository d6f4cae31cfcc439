/// UserService of the schema. For admins only: see access/required_roles.h.
#pragma once

#include "api/server_context.h"
#include "gyrebox/v1/user_service.grpc.pb.h"

namespace gyrebox::api {

class UserService : public v1::UserService::CallbackService {
 public:
  explicit UserService(const ServerContext& server) : server_(server) {}

  grpc::ServerUnaryReactor* CreateToken(grpc::CallbackServerContext* context, const v1::CreateTokenRequest* request,
                                        v1::CreateTokenResponse* response) override;
  grpc::ServerUnaryReactor* ListTokens(grpc::CallbackServerContext* context, const v1::ListTokensRequest* request,
                                       v1::ListTokensResponse* response) override;
  grpc::ServerUnaryReactor* RevokeTokens(grpc::CallbackServerContext* context, const v1::RevokeTokensRequest* request,
                                         v1::RevokeTokensResponse* response) override;

 private:
  absl::StatusOr<v1::CreateTokenResponse> Create(const v1::CreateTokenRequest& request, const access::User& admin);
  absl::StatusOr<v1::ListTokensResponse> List(const v1::ListTokensRequest& request);
  absl::StatusOr<v1::RevokeTokensResponse> Revoke(const v1::RevokeTokensRequest& request, const access::User& admin);

  ServerContext server_;
};

}  // namespace gyrebox::api
