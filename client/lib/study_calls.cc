#include "lib/call.h"
#include "lib/client.h"
#include "lib/join_pages.h"

namespace gyrebox::client {

using Studies = v1::StudyService::Stub;

constexpr int kRowsPerPage = 10'000;

absl::StatusOr<v1::CheckStudyResponse> Client::CheckStudy(const v1::StudySpec& spec) {
  v1::CheckStudyRequest request;
  *request.mutable_spec() = spec;
  return Call(*studies_, &Studies::CheckStudy, request);
}

absl::StatusOr<v1::Study> Client::CreateStudy(const v1::StudySpec& spec) {
  v1::CreateStudyRequest request;
  *request.mutable_spec() = spec;
  request.set_request_id(NewRequestId());
  return Call(*studies_, &Studies::CreateStudy, request);
}

absl::StatusOr<v1::Study> Client::GetStudy(const std::string& name) {
  return Call(*studies_, &Studies::GetStudy, Named<v1::GetStudyRequest>(name));
}

absl::StatusOr<v1::ListStudiesResponse> Client::ListStudies(v1::ListStudiesRequest request) {
  request.set_page_size(kPageSize);
  request.clear_page_token();
  return AllPages(*studies_, &Studies::ListStudies, request, &v1::ListStudiesResponse::mutable_studies);
}

absl::StatusOr<v1::Study> Client::CancelStudy(const std::string& name) {
  return Call(*studies_, &Studies::CancelStudy, Named<v1::CancelStudyRequest>(name), /*tries=*/1);
}

absl::StatusOr<v1::Study> Client::UpdateStudy(const v1::UpdateStudyRequest& request) {
  return Call(*studies_, &Studies::UpdateStudy, request, /*tries=*/1);
}

absl::StatusOr<v1::Study> Client::GrowStudy(v1::GrowStudyRequest request) {
  if (request.request_id().empty()) request.set_request_id(NewRequestId());
  return Call(*studies_, &Studies::GrowStudy, request, kTries, kLongDeadline);
}

absl::StatusOr<v1::CheckGrowthResponse> Client::CheckGrowth(const v1::GrowStudyRequest& growth) {
  v1::CheckGrowthRequest request;
  *request.mutable_growth() = growth;
  return Call(*studies_, &Studies::CheckGrowth, request, kTries, kLongDeadline);
}

absl::StatusOr<v1::Study> Client::UndoGrowth(const std::string& name, const std::string& etag) {
  auto request = Named<v1::UndoGrowthRequest>(name);
  request.set_etag(etag);
  return Call(*studies_, &Studies::UndoGrowth, request, /*tries=*/1, kLongDeadline);
}

absl::StatusOr<v1::Study> Client::GiveStudy(const std::string& name, const std::string& owner) {
  auto request = Named<v1::GiveStudyRequest>(name);
  request.set_owner(owner);
  return Call(*studies_, &Studies::GiveStudy, request);
}

absl::StatusOr<v1::Study> Client::ArchiveStudy(const std::string& name, bool undo) {
  auto request = Named<v1::ArchiveStudyRequest>(name);
  request.set_undo(undo);
  return Call(*studies_, &Studies::ArchiveStudy, request);
}

absl::Status Client::DeleteStudy(const std::string& name, const std::string& etag) {
  auto request = Named<v1::DeleteStudyRequest>(name);
  request.set_etag(etag);
  return Call(*studies_, &Studies::DeleteStudy, request, /*tries=*/1).status();
}

absl::StatusOr<v1::Study> Client::PauseStudy(const std::string& study) {
  return Call(*studies_, &Studies::PauseStudy, Named<v1::PauseStudyRequest>(study), /*tries=*/1);
}

absl::StatusOr<v1::Study> Client::ResumeStudy(const std::string& study) {
  return Call(*studies_, &Studies::ResumeStudy, Named<v1::ResumeStudyRequest>(study), /*tries=*/1);
}

absl::StatusOr<v1::Study> Client::ExtendStudy(const std::string& study, double time) {
  auto request = Named<v1::ExtendStudyRequest>(study);
  request.set_time(time);
  request.set_request_id(NewRequestId());
  return Call(*studies_, &Studies::ExtendStudy, request, kTries, kLongDeadline);
}

absl::StatusOr<v1::StudyTable> Client::TabulateStudy(const std::string& name, const std::string& observable) {
  auto request = Named<v1::TabulateStudyRequest>(name);
  request.set_observable(observable);
  request.set_page_size(kRowsPerPage);
  return UntilKept([&] {
    return AllPages(*studies_, &Studies::TabulateStudy, request, &v1::StudyTable::mutable_rows, kLongDeadline);
  });
}

absl::StatusOr<v1::Answers> Client::AnalyseStudy(const std::string& name, const v1::AnalysisOptions& options) {
  auto request = Named<v1::AnalyseStudyRequest>(name);
  *request.mutable_options() = options;
  const auto deadline = options.has_measure_again() ? kLongestDeadline : kLongDeadline;
  return UntilKept([&]() -> absl::StatusOr<v1::Answers> {
    v1::Answers all;
    const auto add = [&](v1::Answers page) { JoinPage(std::move(page), &all); };
    const auto status = ForPages(*analysis_, &v1::AnalysisService::Stub::AnalyseStudy, request, add, deadline);
    if (!status.ok()) return status;
    return all;
  });
}

}  // namespace gyrebox::client
