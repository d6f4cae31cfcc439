/// RunService of the schema.
#pragma once

#include <span>

#include "api/names.h"
#include "api/server_context.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "study/stop.h"

namespace gyrebox::api {

class RunService : public v1::RunService::CallbackService {
 public:
  explicit RunService(const ServerContext& server) : server_(server) {}

  grpc::ServerUnaryReactor* GetRun(grpc::CallbackServerContext* context, const v1::GetRunRequest* request,
                                   v1::Run* response) override;
  grpc::ServerUnaryReactor* ListRuns(grpc::CallbackServerContext* context, const v1::ListRunsRequest* request,
                                     v1::ListRunsResponse* response) override;
  grpc::ServerUnaryReactor* ListSamples(grpc::CallbackServerContext* context, const v1::ListSamplesRequest* request,
                                        v1::ListSamplesResponse* response) override;
  grpc::ServerWriteReactor<v1::WatchRunsResponse>* WatchRuns(grpc::CallbackServerContext* context,
                                                             const v1::WatchRunsRequest* request) override;

  // In run_rows.cc:
  grpc::ServerUnaryReactor* TabulateRuns(grpc::CallbackServerContext* context, const v1::TabulateRunsRequest* request,
                                         v1::TabulateRunsResponse* response) override;

  // In run_frames.cc:
  grpc::ServerUnaryReactor* GetFrame(grpc::CallbackServerContext* context, const v1::GetFrameRequest* request,
                                     v1::Frame* response) override;
  grpc::ServerUnaryReactor* ListFrames(grpc::CallbackServerContext* context, const v1::ListFramesRequest* request,
                                       v1::ListFramesResponse* response) override;

  grpc::ServerWriteReactor<v1::WatchFramesResponse>* WatchFrames(grpc::CallbackServerContext* context,
                                                                 const v1::WatchFramesRequest* request) override;
  grpc::ServerUnaryReactor* MeasureRun(grpc::CallbackServerContext* context, const v1::MeasureRunRequest* request,
                                       v1::ListSamplesResponse* response) override;

  // In run_steering.cc:
  grpc::ServerUnaryReactor* AdjustRuns(grpc::CallbackServerContext* context, const v1::AdjustRunsRequest* request,
                                       v1::AdjustRunsResponse* response) override;
  grpc::ServerUnaryReactor* WithdrawAdjustment(grpc::CallbackServerContext* context,
                                               const v1::WithdrawAdjustmentRequest* request,
                                               v1::Run* response) override;
  grpc::ServerUnaryReactor* ListAdjustments(grpc::CallbackServerContext* context,
                                            const v1::ListAdjustmentsRequest* request,
                                            v1::ListAdjustmentsResponse* response) override;
  grpc::ServerUnaryReactor* PauseRun(grpc::CallbackServerContext* context, const v1::PauseRunRequest* request,
                                     v1::Run* response) override;
  grpc::ServerUnaryReactor* ResumeRun(grpc::CallbackServerContext* context, const v1::ResumeRunRequest* request,
                                      v1::Run* response) override;
  grpc::ServerUnaryReactor* FinishRun(grpc::CallbackServerContext* context, const v1::FinishRunRequest* request,
                                      v1::Run* response) override;
  grpc::ServerUnaryReactor* ExtendRun(grpc::CallbackServerContext* context, const v1::ExtendRunRequest* request,
                                      v1::Run* response) override;
  grpc::ServerUnaryReactor* SaveRun(grpc::CallbackServerContext* context, const v1::SaveRunRequest* request,
                                    v1::SavedState* response) override;
  grpc::ServerUnaryReactor* ListSavedStates(grpc::CallbackServerContext* context,
                                            const v1::ListSavedStatesRequest* request,
                                            v1::ListSavedStatesResponse* response) override;
  grpc::ServerUnaryReactor* ReplayRun(grpc::CallbackServerContext* context, const v1::ReplayRunRequest* request,
                                      v1::Study* response) override;
  grpc::ServerUnaryReactor* PrioritizeRuns(grpc::CallbackServerContext* context,
                                           const v1::PrioritizeRunsRequest* request,
                                           v1::PrioritizeRunsResponse* response) override;
  grpc::ServerUnaryReactor* RestartRuns(grpc::CallbackServerContext* context, const v1::RestartRunsRequest* request,
                                        v1::RestartRunsResponse* response) override;
  grpc::ServerUnaryReactor* ExcludeRun(grpc::CallbackServerContext* context, const v1::ExcludeRunRequest* request,
                                       v1::Run* response) override;

 private:
  using RunDone = std::function<void(absl::StatusOr<v1::Run>)>;

  absl::StatusOr<v1::ListAdjustmentsResponse> Journal(const v1::ListAdjustmentsRequest& request);
  absl::StatusOr<v1::ListSavedStatesResponse> SavedStates(const v1::ListSavedStatesRequest& request);
  absl::StatusOr<v1::RestartRunsResponse> Restart(const v1::RestartRunsRequest& request, const access::User& user);
  absl::StatusOr<v1::Run> Exclude(const v1::ExcludeRunRequest& request, const access::User& user);
  absl::StatusOr<v1::Study> Replay(const v1::ReplayRunRequest& request, const access::User& user);
  /// Steers one run, and answers with the run.
  void SteerOne(const access::User& user, const std::string& name, executor::SteerRequest asked, RunDone done);

  using FrameDone = std::function<void(absl::StatusOr<v1::Frame>)>;

  /// Finds the requested frame; `done` may be called on any thread of this server.
  void Frame(const v1::GetFrameRequest& request, const FrameDone& done);
  /// The same from the store alone.
  absl::StatusOr<v1::Frame> StoredFrame(const v1::Run& run, const v1::GetFrameRequest& request);
  absl::StatusOr<v1::ListFramesResponse> Frames(const v1::ListFramesRequest& request);
  absl::StatusOr<v1::ListSamplesResponse> Measured(const v1::MeasureRunRequest& request, const study::Stop& stop);

  absl::StatusOr<v1::Run> Get(const std::string& name);
  absl::StatusOr<v1::ListRunsResponse> List(const v1::ListRunsRequest& request);
  absl::StatusOr<v1::TabulateRunsResponse> Tabulate(const v1::TabulateRunsRequest& request, const study::Stop& stop);
  absl::StatusOr<v1::ListSamplesResponse> Samples(const v1::ListSamplesRequest& request);
  /// Adds the drive to the samples of a page.
  absl::Status AddDrives(const RunName& id, const v1::Run& run, v1::ListSamplesResponse* page);
  /// Samples of these observables that fit in a page, which also holds the observables.
  static int SamplesThatFit(std::span<const v1::Observable> observables);

  ServerContext server_;
};

}  // namespace gyrebox::api
