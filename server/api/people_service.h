/// PeopleService of the schema. Only admins get as far as here: see access/needs.h.
#pragma once

#include "api/rooms.h"
#include "gyrebox/v1/people_service.grpc.pb.h"

namespace gyrebox::api {

class PeopleService : public v1::PeopleService::CallbackService {
 public:
  explicit PeopleService(const Rooms& rooms) : rooms_(rooms) {}

  grpc::ServerUnaryReactor* CreateToken(grpc::CallbackServerContext* context, const v1::CreateTokenRequest* request,
                                        v1::CreateTokenResponse* response) override;
  grpc::ServerUnaryReactor* ListTokens(grpc::CallbackServerContext* context, const v1::ListTokensRequest* request,
                                       v1::ListTokensResponse* response) override;
  grpc::ServerUnaryReactor* RevokeTokens(grpc::CallbackServerContext* context, const v1::RevokeTokensRequest* request,
                                         v1::RevokeTokensResponse* response) override;

 private:
  absl::StatusOr<v1::CreateTokenResponse> Create(const v1::CreateTokenRequest& request, const access::Person& admin);
  absl::StatusOr<v1::ListTokensResponse> List(const v1::ListTokensRequest& request);
  absl::StatusOr<v1::RevokeTokensResponse> Revoke(const v1::RevokeTokensRequest& request, const access::Person& admin);

  Rooms rooms_;
};

}  // namespace gyrebox::api
