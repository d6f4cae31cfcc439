#include "lib/call.h"
#include "lib/client.h"

namespace gyrebox::client {

using Runs = v1::RunService::Stub;

absl::Status Client::ForRuns(const std::string& study, const std::function<void(const v1::Run&)>& on_run) {
  v1::ListRunsRequest request;
  request.set_parent(study);
  request.set_page_size(kPageSize);
  return ForPages(*runs_, &Runs::ListRuns, request, [&](const v1::ListRunsResponse& page) {
    for (const v1::Run& run : page.runs()) on_run(run);
  });
}

absl::StatusOr<v1::Run> Client::GetRun(const std::string& name) {
  return Call(*runs_, &Runs::GetRun, Named<v1::GetRunRequest>(name));
}

absl::StatusOr<v1::TabulateRunsResponse> Client::TabulateRuns(const std::string& study, const std::string& observable) {
  v1::TabulateRunsRequest request;
  request.set_parent(study);
  request.set_observable(observable);
  request.set_page_size(kPageSize);
  return AllPages(*runs_, &Runs::TabulateRuns, request, &v1::TabulateRunsResponse::mutable_rows, kLongDeadline);
}

absl::StatusOr<v1::TabulateRunsResponse> Client::TabulateRunning(const std::string& study, int limit) {
  v1::TabulateRunsRequest request;
  request.set_parent(study);
  request.set_only_running(true);
  request.set_page_size(limit);
  return Call(*runs_, &Runs::TabulateRuns, request);
}

absl::StatusOr<v1::ListSamplesResponse> Client::ListSamples(const std::string& run, bool with_drive) {
  v1::ListSamplesRequest request;
  request.set_parent(run);
  request.set_page_size(kPageSize);
  request.set_with_drive(with_drive);
  return AllPages(*runs_, &Runs::ListSamples, request, &v1::ListSamplesResponse::mutable_samples);
}

absl::StatusOr<v1::Frame> Client::GetFrame(const std::string& run, std::optional<int64_t> step,
                                           const v1::FrameWindow& window) {
  auto request = Named<v1::GetFrameRequest>(run);
  if (step) request.set_step(*step);
  *request.mutable_window() = window;
  return Call(*runs_, &Runs::GetFrame, request);
}

absl::StatusOr<v1::ListFramesResponse> Client::ListFrames(const std::string& run) {
  return ListOf(run, *runs_, &Runs::ListFrames, &v1::ListFramesResponse::mutable_frames);
}

absl::StatusOr<v1::ListSamplesResponse> Client::MeasureRun(const std::string& run, const v1::MeasureAgain& measure) {
  auto request = Named<v1::MeasureRunRequest>(run);
  *request.mutable_measure() = measure;
  return AllPages(*runs_, &Runs::MeasureRun, request, &v1::ListSamplesResponse::mutable_samples, kLongDeadline);
}

absl::StatusOr<v1::AdjustRunsResponse> Client::AdjustRuns(v1::AdjustRunsRequest request) {
  if (request.request_id().empty()) request.set_request_id(NewRequestId());
  return Call(*runs_, &Runs::AdjustRuns, request);
}

absl::StatusOr<v1::ListAdjustmentsResponse> Client::ListAdjustments(const std::string& run) {
  return ListOf(run, *runs_, &Runs::ListAdjustments, &v1::ListAdjustmentsResponse::mutable_adjustments);
}

/// A request with the name of a run and the etag that the caller has seen.
template <class Request>
static Request ForRun(const std::string& run, const std::string& etag) {
  auto request = Named<Request>(run);
  request.set_etag(etag);
  return request;
}

absl::StatusOr<v1::Run> Client::PauseRun(const std::string& run, const std::string& etag) {
  return Call(*runs_, &Runs::PauseRun, ForRun<v1::PauseRunRequest>(run, etag), /*tries=*/1);
}

absl::StatusOr<v1::Run> Client::ResumeRun(const std::string& run, const std::string& etag) {
  return Call(*runs_, &Runs::ResumeRun, ForRun<v1::ResumeRunRequest>(run, etag), /*tries=*/1);
}

absl::StatusOr<v1::Run> Client::FinishRun(const std::string& run, const std::string& etag) {
  return Call(*runs_, &Runs::FinishRun, ForRun<v1::FinishRunRequest>(run, etag), /*tries=*/1);
}

absl::StatusOr<v1::Run> Client::ExtendRun(const std::string& run, double time, const std::string& etag) {
  auto request = ForRun<v1::ExtendRunRequest>(run, etag);
  request.set_time(time);
  request.set_request_id(NewRequestId());
  return Call(*runs_, &Runs::ExtendRun, request);
}

absl::StatusOr<v1::Run> Client::WithdrawAdjustment(const std::string& name) {
  return Call(*runs_, &Runs::WithdrawAdjustment, Named<v1::WithdrawAdjustmentRequest>(name), /*tries=*/1);
}

absl::StatusOr<v1::RestartRunsResponse> Client::RestartRuns(const std::string& name) {
  return Call(*runs_, &Runs::RestartRuns, Named<v1::RestartRunsRequest>(name), /*tries=*/1, kLongDeadline);
}

absl::StatusOr<v1::SavedState> Client::SaveRun(const std::string& run) {
  auto request = Named<v1::SaveRunRequest>(run);
  request.set_request_id(NewRequestId());
  return Call(*runs_, &Runs::SaveRun, request);
}

absl::StatusOr<v1::ListSavedStatesResponse> Client::ListSavedStates(const std::string& run) {
  return ListOf(run, *runs_, &Runs::ListSavedStates, &v1::ListSavedStatesResponse::mutable_states);
}

absl::StatusOr<v1::Study> Client::ReplayRun(const std::string& run) {
  auto request = Named<v1::ReplayRunRequest>(run);
  request.set_request_id(NewRequestId());
  return Call(*runs_, &Runs::ReplayRun, request);
}

absl::StatusOr<v1::PrioritizeRunsResponse> Client::PrioritizeRuns(const std::string& name, int priority) {
  auto request = Named<v1::PrioritizeRunsRequest>(name);
  request.set_priority(priority);
  return Call(*runs_, &Runs::PrioritizeRuns, request);
}

absl::StatusOr<v1::Run> Client::ExcludeRun(const v1::ExcludeRunRequest& request) {
  return Call(*runs_, &Runs::ExcludeRun, request, /*tries=*/1);
}

}  // namespace gyrebox::client
