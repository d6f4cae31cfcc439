/// RunService of the schema.
#pragma once

#include "api/rooms.h"
#include "gyrebox/v1/run_service.grpc.pb.h"

namespace gyrebox::api {

class RunService : public v1::RunService::CallbackService {
 public:
  explicit RunService(const Rooms& rooms) : rooms_(rooms) {}

  grpc::ServerUnaryReactor* GetRun(grpc::CallbackServerContext* context, const v1::GetRunRequest* request,
                                   v1::Run* response) override;
  grpc::ServerUnaryReactor* ListRuns(grpc::CallbackServerContext* context, const v1::ListRunsRequest* request,
                                     v1::ListRunsResponse* response) override;
  grpc::ServerUnaryReactor* ListSamples(grpc::CallbackServerContext* context, const v1::ListSamplesRequest* request,
                                        v1::ListSamplesResponse* response) override;
  grpc::ServerWriteReactor<v1::WatchRunsResponse>* WatchRuns(grpc::CallbackServerContext* context,
                                                             const v1::WatchRunsRequest* request) override;

 private:
  absl::StatusOr<v1::Run> Get(const std::string& name);
  absl::StatusOr<v1::ListRunsResponse> List(const v1::ListRunsRequest& request);
  absl::StatusOr<v1::ListSamplesResponse> Samples(const v1::ListSamplesRequest& request);

  Rooms rooms_;
};

}  // namespace gyrebox::api
