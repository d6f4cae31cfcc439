#include "api/study_service.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <limits>

#include "analysis/table.h"
#include "api/answer.h"
#include "api/names.h"
#include "api/steer.h"
#include "schema/number_text.h"
#include "study/estimate.h"

namespace gyrebox::api {

constexpr int kStudiesPerPage = 50;
constexpr int kMostStudiesPerPage = 1000;
/// Bead-steps per second of one CPU thread, before anything was measured on this box; beds of 576 beads reach 7e7 on
/// two threads of a server CPU with AVX-512.
constexpr double kFirstGuess = 3e7;

absl::StatusOr<v1::Study> StudyService::Get(const std::string& name) {
  const auto id = ParseStudyName(name);
  if (!id.ok()) return id.status();
  auto study = rooms_.store.GetStudy(*id);
  if (study.ok()) Remaining(rooms_.store, rooms_.executor.rate()).AddTo(&*study);
  return study;
}

absl::StatusOr<v1::ListStudiesResponse> StudyService::List(const v1::ListStudiesRequest& request) {
  const auto size = PageSize(request.page_size(), kStudiesPerPage, kMostStudiesPerPage);
  if (!size.ok()) return size.status();
  // A page goes on with the list of the page before, and with no other.
  const std::string list = "studies of " + request.owner() + " with " + request.label() +
                           (request.with_archived() ? " and archived ones" : "");
  const auto below = ParsePageToken(list, request.page_token(), std::numeric_limits<int64_t>::max());
  if (!below.ok()) return below.status();
  auto studies =
      rooms_.store.ListStudies(*below, *size + 1, {request.owner(), request.label(), request.with_archived()});
  if (!studies.ok()) return studies.status();
  v1::ListStudiesResponse response;
  const Remaining remaining(rooms_.store, rooms_.executor.rate());
  const bool more = studies->size() > static_cast<size_t>(*size);
  if (more) studies->pop_back();
  for (v1::Study& study : *studies) {
    const int64_t id = *ParseStudyName(study.name());
    remaining.AddTo(&study);
    if (more) response.set_next_page_token(MakePageToken(list, id));
    *response.add_studies() = std::move(study);
  }
  return response;
}

absl::StatusOr<v1::Study> StudyService::Cancel(const std::string& name, const access::Person& person) {
  const auto id = ParseStudyName(name);
  if (!id.ok()) return id.status();
  if (auto status = CheckMayChange(rooms_, person, *id); !status.ok()) return status;
  if (auto status = rooms_.store.CancelStudy(*id); !status.ok()) return status;
  spdlog::info("{} cancelled by {}", name, person.name);
  rooms_.hub.Changed(*id);
  return rooms_.store.GetStudy(*id);
}

absl::StatusOr<v1::CheckStudyResponse> StudyService::Check(const v1::CheckStudyRequest& request,
                                                           const study::Stop& stop) {
  v1::CheckStudyResponse response;
  auto prepared = Prepare(request.spec(), stop);
  if (!prepared.ok()) return prepared.status();
  const auto& violations = prepared->violations;
  if (!violations.empty()) {
    response.mutable_field_violations()->Assign(violations.begin(), violations.end());
    return response;
  }
  const double reached = rooms_.executor.rate().Reached();
  const double guess = kFirstGuess * std::max(1, rooms_.device.thread_count());
  const double rate = reached > 0 ? reached : guess;
  *response.mutable_estimate() = study::EstimateStudy(prepared->spec, rate, rooms_.device, prepared->saved, stop);
  response.mutable_estimate()->set_duration_basis((reached > 0 ? "measured on this box: " : "a first guess: ") +
                                                  schema::NumberText(rate, 2) + " bead-steps per second");
  *response.mutable_spec() = std::move(prepared->spec);
  return response;
}

absl::StatusOr<v1::StudyTable> StudyService::Tabulate(const v1::TabulateStudyRequest& request,
                                                      const study::Stop& stop) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  return analysis::Tabulate(rooms_.store, *id, request.observable(), stop);
}

grpc::ServerUnaryReactor* StudyService::GetStudy(grpc::CallbackServerContext* context,
                                                 const v1::GetStudyRequest* request, v1::Study* response) {
  return Answer(rooms_, context, request, response, [=, this] { return Get(request->name()); });
}

grpc::ServerUnaryReactor* StudyService::ListStudies(grpc::CallbackServerContext* context,
                                                    const v1::ListStudiesRequest* request,
                                                    v1::ListStudiesResponse* response) {
  return Answer(rooms_, context, request, response, [=, this] { return List(*request); });
}

grpc::ServerUnaryReactor* StudyService::CancelStudy(grpc::CallbackServerContext* context,
                                                    const v1::CancelStudyRequest* request, v1::Study* response) {
  return AnswerOn(rooms_.steer_pool, rooms_, context, request, response,
                  [=, this](const access::Person& person) { return Cancel(request->name(), person); });
}

void StudyService::SteerAll(const access::Person& person, const std::string& name, v1::Adjustment::Kind kind,
                            StudyDone done) {
  const auto id = ParseStudyName(name);
  if (!id.ok()) return done(id.status());
  if (auto status = CheckMayChange(rooms_, person, *id); !status.ok()) return done(status);
  executor::SteerRequest asked;
  asked.study = *id;
  asked.kind = kind;
  asked.person = person.name;
  Steer(rooms_, std::move(asked), [this, name, done](const absl::StatusOr<executor::Steered>& entries) {
    done(entries.ok() ? Get(name) : entries.status());
  });
}

grpc::ServerUnaryReactor* StudyService::PauseStudy(grpc::CallbackServerContext* context,
                                                   const v1::PauseStudyRequest* request, v1::Study* response) {
  return AnswerLaterOn(rooms_.steer_pool, rooms_, context, request, response,
                       [=, this](const access::Person& person, const StudyDone& done) {
                         SteerAll(person, request->name(), v1::Adjustment::KIND_PAUSE, done);
                       });
}

grpc::ServerUnaryReactor* StudyService::ResumeStudy(grpc::CallbackServerContext* context,
                                                    const v1::ResumeStudyRequest* request, v1::Study* response) {
  return AnswerLaterOn(rooms_.steer_pool, rooms_, context, request, response,
                       [=, this](const access::Person& person, const StudyDone& done) {
                         SteerAll(person, request->name(), v1::Adjustment::KIND_RESUME, done);
                       });
}

grpc::ServerUnaryReactor* StudyService::CheckStudy(grpc::CallbackServerContext* context,
                                                   const v1::CheckStudyRequest* request,
                                                   v1::CheckStudyResponse* response) {
  return AnswerOn(rooms_.slow_pool, rooms_, context, request, response,
                  [=, this](const study::Stop& stop) { return Check(*request, stop); });
}

grpc::ServerUnaryReactor* StudyService::TabulateStudy(grpc::CallbackServerContext* context,
                                                      const v1::TabulateStudyRequest* request,
                                                      v1::StudyTable* response) {
  return AnswerOn(rooms_.slow_pool, rooms_, context, request, response,
                  [=, this](const study::Stop& stop) { return Tabulate(*request, stop); });
}

}  // namespace gyrebox::api
