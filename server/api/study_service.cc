#include "api/study_service.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <limits>

#include "answers/answer_pages.h"
#include "answers/table.h"
#include "api/answer.h"
#include "api/names.h"
#include "api/page.h"
#include "api/remaining.h"
#include "api/requests.h"
#include "api/steer.h"
#include "schema/number_text.h"
#include "study/doubtful_fields.h"
#include "study/estimate.h"
#include "study/return_if_error.h"
#include "study/time_step.h"

namespace gyrebox::api {

constexpr int kStudiesPerPage = 50;
constexpr int kMaxStudiesPerPage = 1000;
constexpr int kStudiesAtATime = 16;
constexpr int kRowsPerPage = 1000;
constexpr int kMaxRowsPerPage = 10'000;
/// Max faults that a check reports.
constexpr size_t kMaxViolations = 1000;
/// First guess of the bead-steps per second of one CPU thread, used until this machine has been measured; beds of 576
/// beads reach 7e7 on two threads of a server CPU with AVX-512.
constexpr double kFirstGuess = 3e7;

absl::StatusOr<v1::Study> StudyService::Get(const std::string& name) {
  const auto id = ParseStudyName(name);
  if (!id.ok()) return id.status();
  auto study = server_.store.studies().Get(*id);
  if (study.ok()) Remaining(server_.store, server_.executor.rate()).AddTo(&*study);
  return study;
}

/// Clears the spec except for its title.
static void KeepTitle(v1::Study* study) {
  std::string title = std::move(*study->mutable_spec()->mutable_title());
  study->mutable_spec()->Clear();
  study->mutable_spec()->set_title(std::move(title));
}

absl::StatusOr<v1::ListStudiesResponse> StudyService::List(const v1::ListStudiesRequest& request) {
  if (!v1::StudyView_IsValid(request.view())) {
    return absl::InvalidArgumentError("view is none that this server knows; STUDY_VIEW_BASIC or STUDY_VIEW_FULL");
  }
  const bool full = request.view() == v1::STUDY_VIEW_FULL;
  const std::string list = "studies of " + request.owner() + " with " + request.label() +
                           (request.with_archived() ? " and archived ones" : "") + (full ? " in full" : "");
  const auto page = PageOf(request, list, kStudiesPerPage, kMaxStudiesPerPage, std::numeric_limits<int64_t>::max());
  if (!page.ok()) return page.status();
  const store::StudyFilter filter{request.owner(), request.label(), request.with_archived()};
  const Remaining remaining(server_.store, server_.executor.rate());
  v1::ListStudiesResponse response;
  size_t bytes = 0;
  for (int64_t below = page->from;;) {
    // A few at a time: each is read with its spec, which may be large.
    const int wanted = std::min(kStudiesAtATime, page->size + 1 - response.studies_size());
    auto studies = server_.store.studies().List(below, wanted, filter);
    if (!studies.ok()) return studies.status();
    for (v1::Study& study : *studies) {
      remaining.AddTo(&study);
      if (!full) KeepTitle(&study);
      bytes += BytesInPage(study);
      const bool is_full = response.studies_size() == page->size || bytes > kMaxPageBytes;
      if (is_full && !response.studies().empty()) {
        response.set_next_page_token(page->TokenAt(below));
        return response;
      }
      below = *ParseStudyName(study.name());
      *response.add_studies() = std::move(study);
    }
    if (static_cast<int>(studies->size()) < wanted) return response;
  }
}

absl::StatusOr<v1::Study> StudyService::Cancel(const std::string& name, const access::User& user) {
  const auto id = ParseStudyName(name);
  if (!id.ok()) return id.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, *id));
  GYREBOX_RETURN_IF_ERROR(server_.store.studies().Cancel(*id));
  spdlog::info("{} cancelled by {}", name, user.name);
  server_.hub.Changed(*id);
  return server_.store.studies().Get(*id);
}

double StudyService::SetRate(v1::Estimate* estimate) const {
  const double reached = server_.executor.rate().Reached();
  const double rate = reached > 0 ? reached : kFirstGuess * std::max(1, server_.device.thread_count());
  estimate->set_duration_basis((reached > 0 ? "measured on this machine: " : "a first guess: ") +
                               schema::NumberText(rate, 2) + " bead-steps per second");
  return rate;
}

static std::string EqualText(const v1::Study& study) {
  return "the same study was submitted before: " + study.name() + " of " + study.owner() +
         "; gyrebox grow adds realizations to it";
}

absl::StatusOr<v1::CheckStudyResponse> StudyService::Check(const v1::CheckStudyRequest& request,
                                                           const study::Stop& stop) {
  v1::CheckStudyResponse response;
  auto prepared = PrepareSent(request.spec(), stop);
  if (!prepared.ok()) return prepared.status();
  const auto& violations = prepared->violations;
  if (!violations.empty()) {
    const auto told = std::min(violations.size(), kMaxViolations);
    response.mutable_field_violations()->Assign(violations.begin(), violations.begin() + static_cast<int64_t>(told));
    return response;
  }
  v1::Estimate rated;
  const double rate = SetRate(&rated);
  *response.mutable_estimate() = study::EstimateStudy(prepared->spec, rate, server_.device, prepared->saved, stop);
  response.mutable_estimate()->set_duration_basis(rated.duration_basis());
  study::TellTimeSteps(prepared->spec, stop, &response);
  for (auto& doubt : study::DoubtfulFields(request.spec(), prepared->spec, stop))
    response.add_warnings(std::move(doubt));
  const auto equal = server_.store.studies().FindEqual(prepared->spec);
  if (!equal.ok()) return equal.status();
  if (equal->has_value()) response.add_warnings(EqualText(**equal));
  *response.mutable_spec() = std::move(prepared->spec);
  return response;
}

absl::StatusOr<v1::StudyTable> StudyService::Tabulate(const v1::TabulateStudyRequest& request,
                                                      const study::Stop& stop) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  const auto size = PageSize(request.page_size(), kRowsPerPage, kMaxRowsPerPage);
  if (!size.ok()) return size.status();
  const std::string list =
      request.name() + "/table of " + request.observable() + " in pages of " + std::to_string(*size);
  if (!request.page_token().empty()) return tables_.GoOn<v1::StudyTable>(list, request.page_token());
  auto table = analysis::Tabulate(server_.store, *id, request.observable(), stop, &server_.digests);
  if (!table.ok()) return table.status();
  return tables_.Start(list, analysis::CutIntoPages(*std::move(table), *size, kMaxPageBytes));
}

grpc::ServerUnaryReactor* StudyService::GetStudy(grpc::CallbackServerContext* context,
                                                 const v1::GetStudyRequest* request, v1::Study* response) {
  return Answer(server_, context, request, response, [=, this] { return Get(request->name()); });
}

grpc::ServerUnaryReactor* StudyService::ListStudies(grpc::CallbackServerContext* context,
                                                    const v1::ListStudiesRequest* request,
                                                    v1::ListStudiesResponse* response) {
  return Answer(server_, context, request, response, [=, this] { return List(*request); });
}

grpc::ServerUnaryReactor* StudyService::CancelStudy(grpc::CallbackServerContext* context,
                                                    const v1::CancelStudyRequest* request, v1::Study* response) {
  return AnswerOn(server_.steer_pool, server_, context, request, response,
                  [=, this](const access::User& user) { return Cancel(request->name(), user); });
}

static executor::SteerRequest RequestOfKind(v1::Adjustment::Kind kind) {
  executor::SteerRequest asked;
  asked.kind = kind;
  return asked;
}

void StudyService::SteerAll(const access::User& user, const std::string& name, executor::SteerRequest asked,
                            StudyDone done) {
  const auto id = ParseStudyName(name);
  if (!id.ok()) return done(id.status());
  if (auto status = CheckMayChange(server_, user, *id); !status.ok()) return done(status);
  asked.study = *id;
  asked.user = user.name;
  Steer(server_, std::move(asked), [this, name, done](const absl::StatusOr<executor::Steered>& entries) {
    done(entries.ok() ? Get(name) : entries.status());
  });
}

grpc::ServerUnaryReactor* StudyService::PauseStudy(grpc::CallbackServerContext* context,
                                                   const v1::PauseStudyRequest* request, v1::Study* response) {
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const StudyDone& done) {
                         SteerAll(user, request->name(), RequestOfKind(v1::Adjustment::KIND_PAUSE), done);
                       });
}

grpc::ServerUnaryReactor* StudyService::ResumeStudy(grpc::CallbackServerContext* context,
                                                    const v1::ResumeStudyRequest* request, v1::Study* response) {
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const StudyDone& done) {
                         SteerAll(user, request->name(), RequestOfKind(v1::Adjustment::KIND_RESUME), done);
                       });
}

grpc::ServerUnaryReactor* StudyService::ExtendStudy(grpc::CallbackServerContext* context,
                                                    const v1::ExtendStudyRequest* request, v1::Study* response) {
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const StudyDone& done) {
                         const auto once = RequestOf(*request, user);
                         if (!once.ok()) return done(once.status());
                         executor::SteerRequest asked = RequestOfKind(v1::Adjustment::KIND_EXTEND);
                         asked.more_time = request->time();
                         asked.once = *once;
                         SteerAll(user, request->name(), std::move(asked), done);
                       });
}

grpc::ServerUnaryReactor* StudyService::CheckStudy(grpc::CallbackServerContext* context,
                                                   const v1::CheckStudyRequest* request,
                                                   v1::CheckStudyResponse* response) {
  return AnswerOn(server_.slow_pool, server_, context, request, response,
                  [=, this](const study::Stop& stop) { return Check(*request, stop); });
}

grpc::ServerUnaryReactor* StudyService::TabulateStudy(grpc::CallbackServerContext* context,
                                                      const v1::TabulateStudyRequest* request,
                                                      v1::StudyTable* response) {
  return AnswerOn(server_.slow_pool, server_, context, request, response,
                  [=, this](const study::Stop& stop) { return Tabulate(*request, stop); });
}

}  // namespace gyrebox::api
