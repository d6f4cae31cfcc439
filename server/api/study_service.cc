#include "api/study_service.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <cstdlib>
#include <limits>
#include <optional>

#include "analysis/table.h"
#include "api/answer.h"
#include "api/names.h"
#include "api/steer.h"
#include "schema/number_text.h"
#include "store/saved_run.h"
#include "study/defaults.h"
#include "study/estimate.h"
#include "study/expand.h"
#include "study/run_spec.h"
#include "study/validate.h"

namespace gyrebox::api {

constexpr size_t kLongestRequestId = 64;
constexpr int kStudiesPerPage = 50;
constexpr int kMostStudiesPerPage = 1000;
constexpr int kMostPriority = 100;
/// Bead-steps per second of one CPU thread, before anything was measured on this box; beds of 576 beads reach 7e7 on
/// two threads of a server CPU with AVX-512.
constexpr double kFirstGuess = 3e7;

static bool IsRequestId(const std::string& id) {
  return id.size() <= kLongestRequestId && std::all_of(id.begin(), id.end(), [](unsigned char c) {
           return (c < 0x80 && std::isalnum(c)) || c == '-' || c == '_';
         });
}

static std::vector<store::NewRun> PlanRuns(const v1::StudySpec& spec) {
  std::vector<store::NewRun> runs;
  for (study::PlannedRun& plan : study::Expand(spec)) {
    const kernels::RunSpec run = study::ToRunSpec(study::AtPoint(spec, plan.axis_values), plan.seeds);
    runs.push_back({std::move(plan), run.n_beads, run.n_steps});
  }
  return runs;
}

absl::StatusOr<StudyService::Prepared> StudyService::Prepare(const v1::StudySpec& asked) {
  Prepared prepared{.spec = asked, .violations = {}, .saved = nullptr};
  std::optional<study::FoundRun> saved;
  if (asked.start().has_saved()) {
    saved = store::FindSavedRun(rooms_.store, asked.start().saved().run());
    if (!saved->ok() && !store::IsAboutTheRun(saved->status())) return saved->status();
    if (saved->ok()) prepared.saved = (*saved)->beads;
  }
  const study::FoundRun* const found = saved ? &*saved : nullptr;
  study::FillDefaults(&prepared.spec, found);
  prepared.violations = study::Validate(prepared.spec, &rooms_.device, found);
  // The state stays what it is, whatever becomes of the run.
  if (saved && saved->ok()) prepared.spec.mutable_start()->mutable_saved()->set_run((*saved)->state);
  return prepared;
}

absl::Status StudyService::CheckQuotas(const std::string& person, const std::vector<store::NewRun>& runs) {
  const Quotas& quotas = rooms_.quotas;
  const auto refuse = [](const std::string& why) { return absl::ResourceExhaustedError(why); };
  const auto more = static_cast<int64_t>(runs.size());
  if (quotas.queued_runs > 0) {
    const auto waiting = rooms_.store.ListWaiting();
    if (!waiting.ok()) return waiting.status();
    int64_t there = 0;
    for (const auto& study : *waiting) there += study.owner == person ? study.count : 0;
    if (there + more > quotas.queued_runs) {
      return refuse(person + " has " + std::to_string(there) + " runs waiting, and " + std::to_string(more) +
                    " more are over the quota of " + std::to_string(quotas.queued_runs) +
                    "; wait until some have run, or cancel some");
    }
  }
  if (quotas.stored_bytes > 0) {
    const auto stored = rooms_.store.StoredBytes();
    if (!stored.ok()) return stored.status();
    const auto mine = stored->find(person);
    if (mine != stored->end() && mine->second >= quotas.stored_bytes) {
      return refuse(person + " has " + std::to_string(mine->second) + " bytes on disk; the quota is " +
                    std::to_string(quotas.stored_bytes));
    }
  }
  const auto too_large = [&](const store::NewRun& run) { return run.bead_count > quotas.device_beads; };
  if (quotas.device_beads > 0 && std::any_of(runs.begin(), runs.end(), too_large)) {
    return refuse("a run of this study has more beads than the quota of " + std::to_string(quotas.device_beads) +
                  " on the device at a time; give a smaller bed.bead_count");
  }
  return absl::OkStatus();
}

absl::StatusOr<v1::Study> StudyService::Create(const v1::CreateStudyRequest& request, const access::Person& person) {
  if (!IsRequestId(request.request_id())) {
    return absl::InvalidArgumentError("request_id is not up to 64 letters, digits, - or _");
  }
  if (rooms_.stopping) return absl::UnavailableError("the server is stopping; submit again later");
  auto earlier = rooms_.store.FindRequest(request.request_id());
  if (!earlier.ok()) return earlier.status();
  if (earlier->has_value()) return **std::move(earlier);
  const auto prepared = Prepare(request.spec());
  if (!prepared.ok()) return prepared.status();
  if (!prepared->violations.empty()) return InvalidStudy(prepared->violations);
  const v1::StudySpec& spec = prepared->spec;
  const auto runs = PlanRuns(spec);
  if (std::abs(request.priority()) > kMostPriority) {
    return absl::InvalidArgumentError("priority is not within -100 and 100");
  }
  if (auto status = CheckQuotas(person.name, runs); !status.ok()) return status;
  auto study = rooms_.store.CreateStudy(spec, runs, request.request_id(), person.name, request.priority());
  if (!study.ok()) return study.status();
  spdlog::info("{} of {} accepted: {} runs", study->name(), study->owner(), runs.size());
  rooms_.executor.Wake();
  return study;
}

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
  const auto below = ParsePageToken("studies", request.page_token(), std::numeric_limits<int64_t>::max());
  if (!below.ok()) return below.status();
  auto studies = rooms_.store.ListStudies(*below, *size + 1);
  if (!studies.ok()) return studies.status();
  v1::ListStudiesResponse response;
  const Remaining remaining(rooms_.store, rooms_.executor.rate());
  const bool more = studies->size() > static_cast<size_t>(*size);
  if (more) studies->pop_back();
  for (v1::Study& study : *studies) {
    const int64_t id = *ParseStudyName(study.name());
    remaining.AddTo(&study);
    if (more) response.set_next_page_token(MakePageToken("studies", id));
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

absl::StatusOr<v1::CheckStudyResponse> StudyService::Check(const v1::CheckStudyRequest& request) {
  v1::CheckStudyResponse response;
  auto prepared = Prepare(request.spec());
  if (!prepared.ok()) return prepared.status();
  const auto& violations = prepared->violations;
  if (!violations.empty()) {
    response.mutable_field_violations()->Assign(violations.begin(), violations.end());
    return response;
  }
  const double reached = rooms_.executor.rate().Reached();
  const double guess = kFirstGuess * std::max(1, rooms_.device.thread_count());
  const double rate = reached > 0 ? reached : guess;
  *response.mutable_estimate() = study::EstimateStudy(prepared->spec, rate, rooms_.device, prepared->saved);
  response.mutable_estimate()->set_duration_basis((reached > 0 ? "measured on this box: " : "a first guess: ") +
                                                  schema::NumberText(rate, 2) + " bead-steps per second");
  *response.mutable_spec() = std::move(prepared->spec);
  return response;
}

absl::StatusOr<v1::StudyTable> StudyService::Tabulate(const v1::TabulateStudyRequest& request) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  return analysis::Tabulate(rooms_.store, *id, request.observable());
}

grpc::ServerUnaryReactor* StudyService::CreateStudy(grpc::CallbackServerContext* context,
                                                    const v1::CreateStudyRequest* request, v1::Study* response) {
  return Answer<v1::Study>(rooms_, context, response,
                           [=, this](const access::Person& person) { return Create(*request, person); });
}

grpc::ServerUnaryReactor* StudyService::GetStudy(grpc::CallbackServerContext* context,
                                                 const v1::GetStudyRequest* request, v1::Study* response) {
  return Answer<v1::Study>(rooms_, context, response, [=, this] { return Get(request->name()); });
}

grpc::ServerUnaryReactor* StudyService::ListStudies(grpc::CallbackServerContext* context,
                                                    const v1::ListStudiesRequest* request,
                                                    v1::ListStudiesResponse* response) {
  return Answer<v1::ListStudiesResponse>(rooms_, context, response, [=, this] { return List(*request); });
}

grpc::ServerUnaryReactor* StudyService::CancelStudy(grpc::CallbackServerContext* context,
                                                    const v1::CancelStudyRequest* request, v1::Study* response) {
  return Answer<v1::Study>(rooms_, context, response,
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
  Steer(rooms_, std::move(asked), [this, name, done](absl::StatusOr<std::vector<v1::Adjustment>> entries) {
    done(entries.ok() ? Get(name) : entries.status());
  });
}

grpc::ServerUnaryReactor* StudyService::PauseStudy(grpc::CallbackServerContext* context,
                                                   const v1::PauseStudyRequest* request, v1::Study* response) {
  return AnswerLater<v1::Study>(rooms_, context, response,
                                [=, this](const access::Person& person, const StudyDone& done) {
                                  SteerAll(person, request->name(), v1::Adjustment::KIND_PAUSE, done);
                                });
}

grpc::ServerUnaryReactor* StudyService::ResumeStudy(grpc::CallbackServerContext* context,
                                                    const v1::ResumeStudyRequest* request, v1::Study* response) {
  return AnswerLater<v1::Study>(rooms_, context, response,
                                [=, this](const access::Person& person, const StudyDone& done) {
                                  SteerAll(person, request->name(), v1::Adjustment::KIND_RESUME, done);
                                });
}

grpc::ServerUnaryReactor* StudyService::CheckStudy(grpc::CallbackServerContext* context,
                                                   const v1::CheckStudyRequest* request,
                                                   v1::CheckStudyResponse* response) {
  return Answer<v1::CheckStudyResponse>(rooms_, context, response, [=, this] { return Check(*request); });
}

grpc::ServerUnaryReactor* StudyService::TabulateStudy(grpc::CallbackServerContext* context,
                                                      const v1::TabulateStudyRequest* request,
                                                      v1::StudyTable* response) {
  return Answer<v1::StudyTable>(rooms_, context, response, [=, this] { return Tabulate(*request); });
}

}  // namespace gyrebox::api
