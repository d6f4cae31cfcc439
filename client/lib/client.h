/// A thin client: deadlines, retries, pages, and resumable streams.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <chrono>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/v1/analysis_service.grpc.pb.h"
#include "gyrebox/v1/machine_service.grpc.pb.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"
#include "gyrebox/v1/user_service.grpc.pb.h"
#include "lib/connection.h"
#include "lib/refusal.h"

namespace gyrebox::client {

/// Calls one server. Retries repeatable calls for a short time if the server is unreachable.
class Client {
 public:
  /// Connects at the first call.
  explicit Client(const Endpoint& endpoint);
  /// A server on this machine, without TLS.
  explicit Client(const std::string& address) : Client(Endpoint{address, "", ""}) {}

  absl::StatusOr<v1::CheckStudyResponse> CheckStudy(const v1::StudySpec& spec);
  /// Submits a study once, however often the call is tried.
  absl::StatusOr<v1::Study> CreateStudy(const v1::StudySpec& spec);
  absl::StatusOr<v1::Study> GetStudy(const std::string& name);
  /// All studies that match a request, newest first. Ignores its page fields.
  absl::StatusOr<v1::ListStudiesResponse> ListStudies(v1::ListStudiesRequest request = {});
  absl::StatusOr<v1::Study> UpdateStudy(const v1::UpdateStudyRequest& request);
  /// Grows a study once, however often the call is tried.
  absl::StatusOr<v1::Study> GrowStudy(v1::GrowStudyRequest request);
  /// What a growth would add.
  absl::StatusOr<v1::CheckGrowthResponse> CheckGrowth(const v1::GrowStudyRequest& growth);
  absl::StatusOr<v1::Study> UndoGrowth(const std::string& name, const std::string& etag = "");
  absl::StatusOr<v1::Study> GiveStudy(const std::string& name, const std::string& owner);
  absl::StatusOr<v1::Study> ArchiveStudy(const std::string& name, bool undo);
  absl::Status DeleteStudy(const std::string& name, const std::string& etag = "");
  absl::StatusOr<v1::Study> CancelStudy(const std::string& name);
  absl::StatusOr<v1::StudyTable> TabulateStudy(const std::string& name, const std::string& observable);
  /// Answers of a study.
  absl::StatusOr<v1::Answers> AnalyseStudy(const std::string& name, const v1::AnalysisOptions& options);
  /// Calls on_run for every run of a study, in order; holds at most one page at a time.
  absl::Status ForRuns(const std::string& study, const std::function<void(const v1::Run&)>& on_run);
  absl::StatusOr<v1::Run> GetRun(const std::string& name);
  /// All runs of a study, each with its size and its drive. @param observable empty for the default.
  absl::StatusOr<v1::TabulateRunsResponse> TabulateRuns(const std::string& study, const std::string& observable);
  /// The first `limit` runs that are on a device.
  absl::StatusOr<v1::TabulateRunsResponse> TabulateRunning(const std::string& study, int limit);
  /// All samples of a run.
  absl::StatusOr<v1::ListSamplesResponse> ListSamples(const std::string& run, bool with_drive = false);
  /// The kept frame or state at a step or the nearest before it; the newest if no step is given.
  /// @param window the part of the bed; empty for as much of it as fits.
  absl::StatusOr<v1::Frame> GetFrame(const std::string& run, std::optional<int64_t> step = std::nullopt,
                                     const v1::FrameWindow& window = {});
  /// All kept frames of a run.
  absl::StatusOr<v1::ListFramesResponse> ListFrames(const std::string& run);
  /// Streams frames of a run until it ends or on_message returns false.
  absl::Status WatchFrames(const v1::WatchFramesRequest& request,
                           const std::function<bool(const v1::WatchFramesResponse&)>& on_message);
  /// All samples of a run, measured again on its kept frames.
  absl::StatusOr<v1::ListSamplesResponse> MeasureRun(const std::string& run, const v1::MeasureAgain& measure);
  absl::StatusOr<v1::Machine> GetMachine();
  absl::StatusOr<v1::Machine> DrainMachine(bool drain);

  // Adjusting, extending, saving and replaying take effect once, however often the call is tried. Other calls that
  // change runs are tried once: if a response is lost, ListAdjustments() shows whether the call took effect.

  absl::StatusOr<v1::AdjustRunsResponse> AdjustRuns(v1::AdjustRunsRequest request);
  absl::StatusOr<v1::ListAdjustmentsResponse> ListAdjustments(const std::string& run);
  absl::StatusOr<v1::Run> PauseRun(const std::string& run, const std::string& etag = "");
  absl::StatusOr<v1::Run> ResumeRun(const std::string& run, const std::string& etag = "");
  absl::StatusOr<v1::Run> FinishRun(const std::string& run, const std::string& etag = "");
  absl::StatusOr<v1::Run> ExtendRun(const std::string& run, double time, const std::string& etag = "");
  absl::StatusOr<v1::Study> ExtendStudy(const std::string& study, double time);
  /// @param name of a journal entry.
  absl::StatusOr<v1::Run> WithdrawAdjustment(const std::string& name);
  /// @param name of a run, or of a study for all its cancelled runs.
  absl::StatusOr<v1::RestartRunsResponse> RestartRuns(const std::string& name);
  absl::StatusOr<v1::Study> PauseStudy(const std::string& study);
  absl::StatusOr<v1::Study> ResumeStudy(const std::string& study);
  absl::StatusOr<v1::SavedState> SaveRun(const std::string& run);
  absl::StatusOr<v1::ListSavedStatesResponse> ListSavedStates(const std::string& run);
  absl::StatusOr<v1::Study> ReplayRun(const std::string& run);
  /// @param name of a run, or of a study for all its runs.
  absl::StatusOr<v1::PrioritizeRunsResponse> PrioritizeRuns(const std::string& name, int priority);
  absl::StatusOr<v1::Run> ExcludeRun(const v1::ExcludeRunRequest& request);
  absl::StatusOr<v1::CreateTokenResponse> CreateToken(const v1::CreateTokenRequest& request);
  absl::StatusOr<v1::ListTokensResponse> ListTokens();
  absl::StatusOr<v1::RevokeTokensResponse> RevokeTokens(const v1::RevokeTokensRequest& request);

  /// Follows runs until they end. Resumes a broken stream without missing or repeated samples, unless the server is
  /// unreachable for longer than `patience`.
  absl::Status WatchRuns(v1::WatchRunsRequest request, std::chrono::seconds patience,
                         const std::function<void(const v1::WatchRunsResponse&)>& on_message);

 private:
  std::unique_ptr<v1::StudyService::Stub> studies_;
  std::unique_ptr<v1::RunService::Stub> runs_;
  std::unique_ptr<v1::AnalysisService::Stub> analysis_;
  std::unique_ptr<v1::MachineService::Stub> machine_;
  std::unique_ptr<v1::UserService::Stub> users_;
};

}  // namespace gyrebox::client
