/// MachineService of the schema.
#pragma once

#include "api/server_context.h"
#include "gyrebox/v1/machine_service.grpc.pb.h"
#include "stream/machine_board.h"

namespace gyrebox::api {

class MachineService : public v1::MachineService::CallbackService {
 public:
  explicit MachineService(const ServerContext& server) : server_(server), board_([this] { return Get(); }) {}

  grpc::ServerUnaryReactor* GetMachine(grpc::CallbackServerContext* context, const v1::GetMachineRequest* request,
                                       v1::Machine* response) override;
  grpc::ServerWriteReactor<v1::WatchMachineResponse>* WatchMachine(grpc::CallbackServerContext* context,
                                                                   const v1::WatchMachineRequest* request) override;
  grpc::ServerUnaryReactor* DrainMachine(grpc::CallbackServerContext* context, const v1::DrainMachineRequest* request,
                                         v1::Machine* response) override;

  /// Ends all streams.
  void GoAway() { board_.GoAway(); }

 private:
  absl::StatusOr<v1::Machine> Get();
  absl::Status AddQueue(v1::Machine* machine);

  ServerContext server_;
  stream::MachineBoard board_;
};

}  // namespace gyrebox::api
