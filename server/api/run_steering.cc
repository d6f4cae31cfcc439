// Calls of RunService that change runs.
#include <google/protobuf/util/time_util.h>

#include <algorithm>

#include "access/quotas.h"
#include "api/answer.h"
#include "api/names.h"
#include "api/page.h"
#include "api/requests.h"
#include "api/run_service.h"
#include "api/steer.h"
#include "study/remarks.h"
#include "study/return_if_error.h"
#include "study/run_spec.h"
#include "study/steering.h"

namespace gyrebox::api {

using Kind = v1::Adjustment::Kind;

constexpr int kEntriesPerPage = 1000;
/// Max new journal entries in the answer to an adjustment.
constexpr size_t kMaxEntriesTold = 100;

/// A steering request of one kind by the calling user.
static executor::SteerRequest Asked(Kind kind, const access::User& user, const std::string& etag) {
  executor::SteerRequest asked;
  asked.kind = kind;
  asked.user = user.name;
  asked.etag = etag;
  return asked;
}

grpc::ServerUnaryReactor* RunService::AdjustRuns(grpc::CallbackServerContext* context,
                                                 const v1::AdjustRunsRequest* request,
                                                 v1::AdjustRunsResponse* response) {
  using Done = std::function<void(absl::StatusOr<v1::AdjustRunsResponse>)>;
  return AnswerLaterOn(
      server_.steer_pool, server_, context, request, response, [=, this](const access::User& user, const Done& done) {
        const auto target = ParseTarget(request->name());
        if (!target.ok()) return done(target.status());
        if (auto status = CheckMayChange(server_, user, target->study); !status.ok()) return done(status);
        if (target->run == 0 && !request->etag().empty()) {
          return done(absl::InvalidArgumentError("etag is that of a single run; leave it out, or name a run"));
        }
        const auto once = RequestOf(*request, user);
        if (!once.ok()) return done(once.status());
        executor::SteerRequest asked = Asked(v1::Adjustment::KIND_CHANGE, user, request->etag());
        asked.once = *once;
        asked.study = target->study;
        asked.run = target->run;
        asked.changes = request->changes();
        if (request->has_time()) asked.time = request->time();
        asked.ramp_time = request->ramp_time();
        Steer(server_, std::move(asked), [done](absl::StatusOr<executor::Steered> steered) {
          if (!steered.ok()) return done(steered.status());
          v1::AdjustRunsResponse adjusted;
          adjusted.mutable_adjustments()->Assign(steered->entries.begin(), steered->entries.end());
          adjusted.set_run_count(static_cast<int32_t>(steered->count));
          done(std::move(adjusted));
        });
      });
}

void RunService::SteerOne(const access::User& user, const std::string& name, executor::SteerRequest asked,
                          RunDone done) {
  const auto parsed = ParseRunName(name);
  if (!parsed.ok()) return done(parsed.status());
  if (auto status = CheckMayChange(server_, user, parsed->study); !status.ok()) return done(status);
  asked.study = parsed->study;
  asked.run = parsed->run;
  Steer(server_, std::move(asked), [this, name, done](const absl::StatusOr<executor::Steered>& entries) {
    done(entries.ok() ? Get(name) : entries.status());
  });
}

grpc::ServerUnaryReactor* RunService::PauseRun(grpc::CallbackServerContext* context, const v1::PauseRunRequest* request,
                                               v1::Run* response) {
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const RunDone& done) {
                         SteerOne(user, request->name(), Asked(v1::Adjustment::KIND_PAUSE, user, request->etag()),
                                  done);
                       });
}

grpc::ServerUnaryReactor* RunService::ResumeRun(grpc::CallbackServerContext* context,
                                                const v1::ResumeRunRequest* request, v1::Run* response) {
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const RunDone& done) {
                         SteerOne(user, request->name(), Asked(v1::Adjustment::KIND_RESUME, user, request->etag()),
                                  done);
                       });
}

grpc::ServerUnaryReactor* RunService::FinishRun(grpc::CallbackServerContext* context,
                                                const v1::FinishRunRequest* request, v1::Run* response) {
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const RunDone& done) {
                         SteerOne(user, request->name(), Asked(v1::Adjustment::KIND_FINISH, user, request->etag()),
                                  done);
                       });
}

grpc::ServerUnaryReactor* RunService::ExtendRun(grpc::CallbackServerContext* context,
                                                const v1::ExtendRunRequest* request, v1::Run* response) {
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const RunDone& done) {
                         const auto once = RequestOf(*request, user);
                         if (!once.ok()) return done(once.status());
                         executor::SteerRequest asked = Asked(v1::Adjustment::KIND_EXTEND, user, request->etag());
                         asked.once = *once;
                         asked.more_time = request->time();
                         SteerOne(user, request->name(), std::move(asked), done);
                       });
}

grpc::ServerUnaryReactor* RunService::WithdrawAdjustment(grpc::CallbackServerContext* context,
                                                         const v1::WithdrawAdjustmentRequest* request,
                                                         v1::Run* response) {
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const RunDone& done) {
                         const auto entry = store::ParseAdjustmentName(request->name());
                         if (!entry.ok()) return done(entry.status());
                         executor::SteerRequest asked = Asked(v1::Adjustment::KIND_WITHDRAW, user, request->etag());
                         asked.withdrawn_entry = entry->entry;
                         SteerOne(user, store::NameOfRun(entry->run.study, entry->run.run), std::move(asked), done);
                       });
}

grpc::ServerUnaryReactor* RunService::SaveRun(grpc::CallbackServerContext* context, const v1::SaveRunRequest* request,
                                              v1::SavedState* response) {
  using Done = std::function<void(absl::StatusOr<v1::SavedState>)>;
  return AnswerLaterOn(server_.steer_pool, server_, context, request, response,
                       [=, this](const access::User& user, const Done& done) {
                         const auto parsed = ParseRunName(request->name());
                         if (!parsed.ok()) return done(parsed.status());
                         if (auto status = CheckMayChange(server_, user, parsed->study); !status.ok())
                           return done(status);
                         const auto once = RequestOf(*request, user);
                         if (!once.ok()) return done(once.status());
                         server_.executor.Save(parsed->study, parsed->run, done, *once);
                       });
}

grpc::ServerUnaryReactor* RunService::PrioritizeRuns(grpc::CallbackServerContext* context,
                                                     const v1::PrioritizeRunsRequest* request,
                                                     v1::PrioritizeRunsResponse* response) {
  using Done = std::function<void(absl::StatusOr<v1::PrioritizeRunsResponse>)>;
  return AnswerLaterOn(
      server_.steer_pool, server_, context, request, response, [=, this](const access::User& user, const Done& done) {
        const auto target = ParseTarget(request->name());
        if (!target.ok()) return done(target.status());
        if (auto status = CheckMayChange(server_, user, target->study); !status.ok()) return done(status);
        if (auto status = access::CheckPriority(request->priority()); !status.ok()) return done(status);
        if (target->run > 0) {
          if (const auto run = server_.store.runs().Get(target->study, target->run); !run.ok())
            return done(run.status());
        }
        server_.executor.Prioritize(target->study, target->run, request->priority(), [done](absl::StatusOr<int> count) {
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
  if (const auto found = server_.store.runs().Get(parsed->study, parsed->run); !found.ok()) return found.status();
  const auto page = PageOf(request, request.parent() + "/adjustments", kEntriesPerPage, kEntriesPerPage);
  if (!page.ok()) return page.status();
  auto entries = server_.store.journals().Get(parsed->study, parsed->run);
  if (!entries.ok()) return entries.status();
  v1::ListAdjustmentsResponse response;
  FillFrom(*std::move(entries), *page, response.mutable_adjustments(), &response);
  return response;
}

grpc::ServerUnaryReactor* RunService::ListAdjustments(grpc::CallbackServerContext* context,
                                                      const v1::ListAdjustmentsRequest* request,
                                                      v1::ListAdjustmentsResponse* response) {
  return Answer(server_, context, request, response, [=, this] { return Journal(*request); });
}

absl::StatusOr<v1::ListSavedStatesResponse> RunService::SavedStates(const v1::ListSavedStatesRequest& request) {
  const auto parsed = ParseRunName(request.parent());
  if (!parsed.ok()) return parsed.status();
  if (const auto found = server_.store.runs().Get(parsed->study, parsed->run); !found.ok()) return found.status();
  const auto page = PageOf(request, request.parent() + "/states", kEntriesPerPage, kEntriesPerPage);
  if (!page.ok()) return page.status();
  auto states = server_.store.states().ListSaved(parsed->study, parsed->run);
  if (!states.ok()) return states.status();
  v1::ListSavedStatesResponse response;
  FillFrom(*std::move(states), *page, response.mutable_states(), &response);
  return response;
}

grpc::ServerUnaryReactor* RunService::ListSavedStates(grpc::CallbackServerContext* context,
                                                      const v1::ListSavedStatesRequest* request,
                                                      v1::ListSavedStatesResponse* response) {
  return Answer(server_, context, request, response, [=, this] { return SavedStates(*request); });
}

absl::StatusOr<v1::RestartRunsResponse> RunService::Restart(const v1::RestartRunsRequest& request,
                                                            const access::User& user) {
  const auto target = ParseTarget(request.name());
  if (!target.ok()) return target.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, target->study));
  if (target->run > 0) GYREBOX_RETURN_IF_ERROR(server_.store.runs().Get(target->study, target->run).status());
  const auto count = server_.store.runs().Restart(target->study, target->run, user.name);
  if (!count.ok()) return count.status();
  server_.hub.Changed(target->study);
  server_.executor.Wake();
  v1::RestartRunsResponse response;
  response.set_run_count(static_cast<int32_t>(*count));
  return response;
}

grpc::ServerUnaryReactor* RunService::RestartRuns(grpc::CallbackServerContext* context,
                                                  const v1::RestartRunsRequest* request,
                                                  v1::RestartRunsResponse* response) {
  return AnswerOn(server_.steer_pool, server_, context, request, response,
                  [=, this](const access::User& user) { return Restart(*request, user); });
}

absl::StatusOr<v1::Run> RunService::Exclude(const v1::ExcludeRunRequest& request, const access::User& user) {
  const auto parsed = ParseRunName(request.name());
  if (!parsed.ok()) return parsed.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, parsed->study));
  std::optional<v1::Exclusion> exclusion;
  if (!request.undo()) {
    study::Violations violations;
    study::CheckReason(request.reason(), "reason", &violations);
    if (!violations.empty()) return InvalidRequest(std::move(violations).Take());
    exclusion.emplace().set_user(user.name);
    *exclusion->mutable_create_time() = google::protobuf::util::TimeUtil::GetCurrentTime();
    exclusion->set_reason(request.reason());
  }
  auto run = server_.store.runs().Exclude(parsed->study, parsed->run, exclusion, user.name);
  if (run.ok()) server_.hub.Changed(parsed->study);
  return run;
}

grpc::ServerUnaryReactor* RunService::ExcludeRun(grpc::CallbackServerContext* context,
                                                 const v1::ExcludeRunRequest* request, v1::Run* response) {
  return Answer(server_, context, request, response,
                [=, this](const access::User& user) { return Exclude(*request, user); });
}

absl::StatusOr<v1::Study> RunService::Replay(const v1::ReplayRunRequest& request, const access::User& user) {
  const auto parsed = ParseRunName(request.name());
  if (!parsed.ok()) return parsed.status();
  const auto once = RequestOf(request, user);
  if (!once.ok()) return once.status();
  const auto earlier = server_.store.requests().Find(*once);
  if (!earlier.ok()) return earlier.status();
  if (earlier->has_value()) return server_.store.studies().Get((*earlier)->study);
  const auto run = server_.store.runs().Get(parsed->study, parsed->run);
  if (!run.ok()) return run.status();
  const auto study = server_.store.studies().Get(parsed->study);
  if (!study.ok()) return study.status();
  const auto journal = server_.store.journals().Get(parsed->study, parsed->run);
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
  GYREBOX_RETURN_IF_ERROR(access::CheckBeads(server_.quotas, plan.bead_count));
  auto made = server_.store.studies().Create(spec, {plan}, *once, user.name, /*priority=*/0, /*like=*/parsed->study);
  if (made.ok()) server_.executor.Wake();
  return made;
}

grpc::ServerUnaryReactor* RunService::ReplayRun(grpc::CallbackServerContext* context,
                                                const v1::ReplayRunRequest* request, v1::Study* response) {
  return AnswerOn(server_.slow_pool, server_, context, request, response,
                  [=, this](const access::User& user) { return Replay(*request, user); });
}

}  // namespace gyrebox::api
