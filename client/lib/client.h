/// A thin client: deadlines, retries, pages, and streams that resume.
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
#include "gyrebox/v1/box_service.grpc.pb.h"
#include "gyrebox/v1/people_service.grpc.pb.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"

namespace gyrebox::client {

/// Fields at fault that a server named in a refusal.
std::vector<v1::FieldViolation> ViolationsOf(const absl::Status& status);

/// Why a call was refused, in UPPER_SNAKE_CASE, as its ErrorInfo tells; empty where it tells nothing.
std::string ReasonOf(const absl::Status& status);

/// How to reach a server.
struct Endpoint {
  std::string address;    ///< HOST:PORT, or unix:PATH
  std::string authority;  ///< PEM of who vouches for the server's certificate; empty for a server without TLS
  std::string token;      ///< sent with every call, over TLS or inside this machine only
};

/// Calls one server. Calls that may be repeated are tried again for a moment where the server is not reachable.
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
  /// All studies that a request is for, newest first. Its page is not looked at.
  absl::StatusOr<v1::ListStudiesResponse> ListStudies(v1::ListStudiesRequest request = {});
  absl::StatusOr<v1::Study> UpdateStudy(const v1::UpdateStudyRequest& request);
  /// Makes a study grow once, however often the call is tried.
  absl::StatusOr<v1::Study> GrowStudy(v1::GrowStudyRequest request);
  absl::StatusOr<v1::Study> ArchiveStudy(const std::string& name, bool undo);
  absl::Status DeleteStudy(const std::string& name, const std::string& etag = "");
  absl::StatusOr<v1::Study> CancelStudy(const std::string& name);
  absl::StatusOr<v1::StudyTable> TabulateStudy(const std::string& name, const std::string& observable);
  /// What a study answers.
  absl::StatusOr<v1::Answers> AnalyseStudy(const std::string& name, const v1::AnalysisOptions& options);
  /// Calls on_run for every run of a study, in order; no more than a page of them is held at a time.
  absl::Status ForRuns(const std::string& study, const std::function<void(const v1::Run&)>& on_run);
  absl::StatusOr<v1::Run> GetRun(const std::string& name);
  /// All samples of a run.
  absl::StatusOr<v1::ListSamplesResponse> ListSamples(const std::string& run);
  /// The kept frame or state at a step or the nearest before it; the newest there is where no step is given.
  /// @param window the part of the bed; as much of it as there is room for where it is empty.
  absl::StatusOr<v1::Frame> GetFrame(const std::string& run, std::optional<int64_t> step = std::nullopt,
                                     const v1::FrameWindow& window = {});
  /// All frames kept of a run.
  absl::StatusOr<v1::ListFramesResponse> ListFrames(const std::string& run);
  /// Follows a run with pictures to its end, or until on_message returns false.
  absl::Status WatchFrames(const v1::WatchFramesRequest& request,
                           const std::function<bool(const v1::WatchFramesResponse&)>& on_message);
  /// All samples of a run, measured again on its kept frames.
  absl::StatusOr<v1::ListSamplesResponse> MeasureRun(const std::string& run, const v1::MeasureAgain& measure);
  absl::StatusOr<v1::Box> GetBox();
  absl::StatusOr<v1::Box> DrainBox(bool drain);

  // Adjusting, extending, saving and replaying are done once, however often the call is tried. Other calls that change
  // runs are made once: where an answer is lost, ListAdjustments() tells whether it was done.

  absl::StatusOr<v1::AdjustRunsResponse> AdjustRuns(v1::AdjustRunsRequest request);
  absl::StatusOr<v1::ListAdjustmentsResponse> ListAdjustments(const std::string& run);
  absl::StatusOr<v1::Run> PauseRun(const std::string& run, const std::string& etag = "");
  absl::StatusOr<v1::Run> ResumeRun(const std::string& run, const std::string& etag = "");
  absl::StatusOr<v1::Run> FinishRun(const std::string& run, const std::string& etag = "");
  absl::StatusOr<v1::Run> ExtendRun(const std::string& run, double time, const std::string& etag = "");
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

  /// Follows runs to their end. Where the stream breaks off it is taken up again without hole or repeat of samples,
  /// unless the server stays away longer than `patience`.
  absl::Status WatchRuns(v1::WatchRunsRequest request, std::chrono::seconds patience,
                         const std::function<void(const v1::WatchRunsResponse&)>& on_message);

 private:
  std::unique_ptr<v1::StudyService::Stub> studies_;
  std::unique_ptr<v1::RunService::Stub> runs_;
  std::unique_ptr<v1::AnalysisService::Stub> analysis_;
  std::unique_ptr<v1::BoxService::Stub> box_;
  std::unique_ptr<v1::PeopleService::Stub> people_;
};

}  // namespace gyrebox::client
