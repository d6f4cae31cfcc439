/// BoxService of the schema.
#pragma once

#include "api/box_board.h"
#include "api/rooms.h"
#include "gyrebox/v1/box_service.grpc.pb.h"

namespace gyrebox::api {

class BoxService : public v1::BoxService::CallbackService {
 public:
  explicit BoxService(const Rooms& rooms) : rooms_(rooms), board_([this] { return Get(); }) {}

  grpc::ServerUnaryReactor* GetBox(grpc::CallbackServerContext* context, const v1::GetBoxRequest* request,
                                   v1::Box* response) override;
  grpc::ServerWriteReactor<v1::WatchBoxResponse>* WatchBox(grpc::CallbackServerContext* context,
                                                           const v1::WatchBoxRequest* request) override;
  grpc::ServerUnaryReactor* DrainBox(grpc::CallbackServerContext* context, const v1::DrainBoxRequest* request,
                                     v1::Box* response) override;

  /// Ends all streams.
  void GoAway() { board_.GoAway(); }

 private:
  absl::StatusOr<v1::Box> Get();
  absl::Status AddQueue(v1::Box* box);

  Rooms rooms_;
  BoxBoard board_;
};

}  // namespace gyrebox::api
