/// BoxService of the schema.
#pragma once

#include "api/rooms.h"
#include "gyrebox/v1/box_service.grpc.pb.h"

namespace gyrebox::api {

class BoxService : public v1::BoxService::CallbackService {
 public:
  explicit BoxService(const Rooms& rooms) : rooms_(rooms) {}

  grpc::ServerUnaryReactor* GetBox(grpc::CallbackServerContext* context, const v1::GetBoxRequest* request,
                                   v1::Box* response) override;

 private:
  absl::StatusOr<v1::Box> Get();

  Rooms rooms_;
};

}  // namespace gyrebox::api
