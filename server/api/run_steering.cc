// The calls of RunService that change runs.
#include <google/protobuf/util/time_util.h>

#include <algorithm>

#include "api/answer.h"
#include "api/page.h"
#include "api/quotas.h"
#include "api/requests.h"
#include "api/run_service.h"
#include "api/steer.h"
#include "study/remarks.h"
#include "study/run_spec.h"
#include "study/steering.h"

namespace gyrebox::api {

using Kind = v1::Adjustment::Kind;

constexpr int kEntriesPerPage = 1000;
/// New entries of journals that the answer to an adjustment holds.
constexpr size_t kMostEntriesTold = 100;

/// A request for one kind of change by the person who calls.
static executor::SteerRequest Asked(Kind kind, const access::Person& person, const std::string& etag) {
  executor::SteerRequest asked;
  asked.kind = kind;
  asked.person = person.name;
  asked.etag = etag;
  return asked;
}

grpc::ServerUnaryReactor* RunService::AdjustRuns(grpc::CallbackServerContext* context,
                                                 const v1::AdjustRunsRequest* request,
                                                 v1::AdjustRunsResponse* response) {
  using Done = std::function<void(absl::StatusOr<v1::AdjustRunsResponse>)>;
  return AnswerLaterOn(
      rooms_.steer_pool, rooms_, context, request, response, [=, this](const access::Person& person, const Done& done) {
        const auto target = ParseTarget(request->name());
        if (!target.ok()) return done(target.status());
        if (auto status = CheckMayChange(rooms_, person, target->study); !status.ok()) return done(status);
        if (target->run == 0 && !request->etag().empty()) {
          return done(absl::InvalidArgumentError("etag is that of a single run; leave it out, or name a run"));
        }
        const auto once = RequestOf(*request, person);
        if (!once.ok()) return done(once.status());
        executor::SteerRequest asked = Asked(v1::Adjustment::KIND_CHANGE, person, request->etag());
        asked.once = *once;
        asked.study = target->study;
        asked.run = target->run;
        asked.changes = request->changes();
        if (request->has_time()) asked.time = request->time();
        asked.ramp_time = request->ramp_time();
        Steer(rooms_, std::move(asked), [done](absl::StatusOr<executor::Steered> steered) {
          if (!steered.ok()) return done(steered.status());
          v1::AdjustRunsResponse adjusted;
          adjusted.mutable_adjustments()->Assign(steered->entries.begin(), steered->entries.end());
          adjusted.set_run_count(static_cast<int32_t>(steered->count));
          done(std::move(adjusted));
        });
      });
}

void RunService::SteerOne(const access::Person& person, const std::string& name, executor::SteerRequest asked,
                          RunDone done) {
  const auto parsed = ParseRunName(name);
  if (!parsed.ok()) return done(parsed.status());
  if (auto status = CheckMayChange(rooms_, person, parsed->study); !status.ok()) return done(status);
  asked.study = parsed->study;
  asked.run = parsed->run;
  Steer(rooms_, std::move(asked), [this, name, done](const absl::StatusOr<executor::Steered>& entries) {
    done(entries.ok() ? Get(name) : entries.status());
  });
}

grpc::ServerUnaryReactor* RunService::PauseRun(grpc::CallbackServerContext* context, const v1::PauseRunRequest* request,
                                               v1::Run* response) {
  return AnswerLaterOn(rooms_.steer_pool, rooms_, context, request, response,
                       [=, this](const access::Person& person, const RunDone& done) {
                         SteerOne(person, request->name(), Asked(v1::Adjustment::KIND_PAUSE, person, request->etag()),
                                  done);
                       });
}

grpc::ServerUnaryReactor* RunService::ResumeRun(grpc::CallbackServerContext* context,
                                                const v1::ResumeRunRequest* request, v1::Run* response) {
  return AnswerLaterOn(rooms_.steer_pool, rooms_, context, request, response,
                       [=, this](const access::Person& person, const RunDone& done) {
                         SteerOne(person, request->name(), Asked(v1::Adjustment::KIND_RESUME, person, request->etag()),
                                  done);
                       });
}

grpc::ServerUnaryReactor* RunService::FinishRun(grpc::CallbackServerContext* context,
                                                const v1::FinishRunRequest* request, v1::Run* response) {
  return AnswerLaterOn(rooms_.steer_pool, rooms_, context, request, response,
                       [=, this](const access::Person& person, const RunDone& done) {
                         SteerOne(person, request->name(), Asked(v1::Adjustment::KIND_FINISH, person, request->etag()),
                                  done);
                       });
}

grpc::ServerUnaryReactor* RunService::ExtendRun(grpc::CallbackServerContext* context,
                                                const v1::ExtendRunRequest* request, v1::Run* response) {
  return AnswerLaterOn(rooms_.steer_pool, rooms_, context, request, response,
                       [=, this](const access::Person& person, const RunDone& done) {
                         const auto once = RequestOf(*request, person);
                         if (!once.ok()) return done(once.status());
                         executor::SteerRequest asked = Asked(v1::Adjustment::KIND_EXTEND, person, request->etag());
                         asked.once = *once;
                         asked.more_time = request->time();
                         SteerOne(person, request->name(), std::move(asked), done);
                       });
}

grpc::ServerUnaryReactor* RunService::SaveRun(grpc::CallbackServerContext* context, const v1::SaveRunRequest* request,
                                              v1::SavedState* response) {
  using Done = std::function<void(absl::StatusOr<v1::SavedState>)>;
  return AnswerLaterOn(rooms_.steer_pool, rooms_, context, request, response,
                       [=, this](const access::Person& person, const Done& done) {
                         const auto parsed = ParseRunName(request->name());
                         if (!parsed.ok()) return done(parsed.status());
                         if (auto status = CheckMayChange(rooms_, person, parsed->study); !status.ok())
                           return done(status);
                         const auto once = RequestOf(*request, person);
                         if (!once.ok()) return done(once.status());
                         rooms_.executor.Save(parsed->study, parsed->run, done, *once);
                       });
}

grpc::ServerUnaryReactor* RunService::PrioritizeRuns(grpc::CallbackServerContext* context,
                                                     const v1::PrioritizeRunsRequest* request,
                                                     v1::PrioritizeRunsResponse* response) {
  using Done = std::function<void(absl::StatusOr<v1::PrioritizeRunsResponse>)>;
  return AnswerLaterOn(
      rooms_.steer_pool, rooms_, context, request, response, [=, this](const access::Person& person, const Done& done) {
        const auto target = ParseTarget(request->name());
        if (!target.ok()) return done(target.status());
        if (auto status = CheckMayChange(rooms_, person, target->study); !status.ok()) return done(status);
        if (auto status = CheckPriority(request->priority()); !status.ok()) return done(status);
        if (target->run > 0) {
          if (const auto run = rooms_.store.GetRun(target->study, target->run); !run.ok()) return done(run.status());
        }
        rooms_.executor.Prioritize(target->study, target->run, request->priority(), [done](absl::StatusOr<int> count) {
          if (!count.ok()) return done(count.status());
          v1::PrioritizeRunsResponse moved;
          moved.set_run_count(*count);
          done(std::move(moved));
        });
      });
}

absl::StatusOr<v1::ListAdjustmentsResponse> RunService::Journal(const v1::ListAdjustmentsRequest& request) {
  const auto parsed = ParseRunName(request.parent());
  if (!parsed.ok()) return parsed.status();
  if (const auto found = rooms_.store.GetRun(parsed->study, parsed->run); !found.ok()) return found.status();
  const auto page = PageOf(request, request.parent() + "/adjustments", kEntriesPerPage, kEntriesPerPage);
  if (!page.ok()) return page.status();
  auto entries = rooms_.store.GetJournal(parsed->study, parsed->run);
  if (!entries.ok()) return entries.status();
  v1::ListAdjustmentsResponse response;
  FillFrom(*std::move(entries), *page, response.mutable_adjustments(), &response);
  return response;
}

grpc::ServerUnaryReactor* RunService::ListAdjustments(grpc::CallbackServerContext* context,
                                                      const v1::ListAdjustmentsRequest* request,
                                                      v1::ListAdjustmentsResponse* response) {
  return Answer(rooms_, context, request, response, [=, this] { return Journal(*request); });
}

absl::StatusOr<v1::ListSavedStatesResponse> RunService::SavedStates(const v1::ListSavedStatesRequest& request) {
  const auto parsed = ParseRunName(request.parent());
  if (!parsed.ok()) return parsed.status();
  if (const auto found = rooms_.store.GetRun(parsed->study, parsed->run); !found.ok()) return found.status();
  const auto page = PageOf(request, request.parent() + "/states", kEntriesPerPage, kEntriesPerPage);
  if (!page.ok()) return page.status();
  auto states = rooms_.store.ListSavedStates(parsed->study, parsed->run);
  if (!states.ok()) return states.status();
  v1::ListSavedStatesResponse response;
  FillFrom(*std::move(states), *page, response.mutable_states(), &response);
  return response;
}

grpc::ServerUnaryReactor* RunService::ListSavedStates(grpc::CallbackServerContext* context,
                                                      const v1::ListSavedStatesRequest* request,
                                                      v1::ListSavedStatesResponse* response) {
  return Answer(rooms_, context, request, response, [=, this] { return SavedStates(*request); });
}

absl::StatusOr<v1::Run> RunService::Exclude(const v1::ExcludeRunRequest& request, const access::Person& person) {
  const auto parsed = ParseRunName(request.name());
  if (!parsed.ok()) return parsed.status();
  if (auto status = CheckMayChange(rooms_, person, parsed->study); !status.ok()) return status;
  std::optional<v1::Exclusion> exclusion;
  if (!request.undo()) {
    study::Violations violations;
    study::CheckReason(request.reason(), "reason", &violations);
    if (!violations.empty()) return InvalidRequest(std::move(violations).Take());
    exclusion.emplace().set_person(person.name);
    *exclusion->mutable_create_time() = google::protobuf::util::TimeUtil::GetCurrentTime();
    exclusion->set_reason(request.reason());
  }
  auto run = rooms_.store.ExcludeRun(parsed->study, parsed->run, exclusion, person.name);
  if (run.ok()) rooms_.hub.Changed(parsed->study);
  return run;
}

grpc::ServerUnaryReactor* RunService::ExcludeRun(grpc::CallbackServerContext* context,
                                                 const v1::ExcludeRunRequest* request, v1::Run* response) {
  return Answer(rooms_, context, request, response,
                [=, this](const access::Person& person) { return Exclude(*request, person); });
}

absl::StatusOr<v1::Study> RunService::Replay(const v1::ReplayRunRequest& request, const access::Person& person) {
  const auto parsed = ParseRunName(request.name());
  if (!parsed.ok()) return parsed.status();
  const auto once = RequestOf(request, person);
  if (!once.ok()) return once.status();
  const auto earlier = rooms_.store.FindRequest(*once);
  if (!earlier.ok()) return earlier.status();
  if (earlier->has_value()) return rooms_.store.GetStudy((*earlier)->study);
  const auto run = rooms_.store.GetRun(parsed->study, parsed->run);
  if (!run.ok()) return run.status();
  const auto study = rooms_.store.GetStudy(parsed->study);
  if (!study.ok()) return study.status();
  const auto journal = rooms_.store.GetJournal(parsed->study, parsed->run);
  if (!journal.ok()) return journal.status();
  v1::StudySpec spec = study::SpecOf(study->spec(), *run, *journal);
  spec.clear_axes();
  spec.mutable_audit()->set_max_cost(0);
  spec.mutable_trials()->set_count(1);
  *spec.mutable_seeds() = run->seeds();
  spec.set_title("replay of " + run->name());
  store::NewRun plan;
  plan.plan.seeds = run->seeds();
  plan.bead_count = spec.bed().bead_count();
  plan.total_steps = run->total_steps();
  if (auto status = CheckBeads(rooms_, plan.bead_count); !status.ok()) return status;
  auto made = rooms_.store.CreateStudy(spec, {plan}, *once, person.name, /*priority=*/0, /*like=*/parsed->study);
  if (made.ok()) rooms_.executor.Wake();
  return made;
}

grpc::ServerUnaryReactor* RunService::ReplayRun(grpc::CallbackServerContext* context,
                                                const v1::ReplayRunRequest* request, v1::Study* response) {
  return AnswerOn(rooms_.slow_pool, rooms_, context, request, response,
                  [=, this](const access::Person& person) { return Replay(*request, person); });
}

}  // namespace gyrebox::api
