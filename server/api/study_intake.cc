// Calls of StudyService that create and grow studies.
#include <spdlog/spdlog.h>

#include <algorithm>
#include <optional>

#include "access/quotas.h"
#include "api/answer.h"
#include "api/names.h"
#include "api/requests.h"
#include "api/study_service.h"
#include "store/saved_run.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "study/grow.h"
#include "study/point_setter.h"
#include "study/return_if_error.h"
#include "study/schedule.h"
#include "study/stop.h"
#include "study/validation/check_size.h"
#include "study/validation/validate.h"

namespace gyrebox::api {

static std::vector<store::NewRun> ToNewRuns(const v1::StudySpec& spec, std::vector<study::PlannedRun> plans,
                                            const study::Stop& stop) {
  std::vector<store::NewRun> runs;
  study::PointSetter setter(spec);
  for (study::PlannedRun& plan : plans) {
    if (stop.asked()) break;
    // The realizations of a point are adjacent and have the same number of steps.
    const bool same =
        !runs.empty() && runs.back().plan.axis_values == plan.axis_values && runs.back().plan.audit == plan.audit;
    const v1::StudySpec& at = setter.At(plan.axis_values);
    const auto steps_of = [&] { return study::StepsOf(plan.audit ? study::AsAudited(at) : at); };
    const int64_t steps = same ? runs.back().total_steps : steps_of();
    runs.push_back({std::move(plan), at.bed().bead_count(), steps});
  }
  return runs;
}

absl::StatusOr<StudyService::Prepared> StudyService::Prepare(const v1::StudySpec& asked, const study::Stop& stop,
                                                             int64_t of) {
  Prepared prepared{.spec = asked, .violations = {}, .saved = nullptr};
  study::Violations too_large;
  study::CheckSize(asked, &too_large);
  if (!too_large.empty()) {
    prepared.violations = std::move(too_large).Take();
    return prepared;
  }
  std::optional<study::FoundRun> saved;
  if (asked.start().has_saved()) {
    saved = of > 0 ? store::FindOwnStart(server_.store, of, asked)
                   : store::FindSavedRun(server_.store, asked.start().saved().run());
    if (!saved->ok() && !store::IsAboutTheRun(saved->status())) return saved->status();
    if (saved->ok()) prepared.saved = (*saved)->beads;
  }
  const study::FoundRun* const found = saved ? &*saved : nullptr;
  study::FillDefaults(&prepared.spec, found);
  prepared.violations = study::Validate(prepared.spec, &server_.device, found, stop);
  if (stop.asked()) return study::Stopped();
  // Refer to the state, which stays valid whatever happens to the run.
  if (saved && saved->ok()) prepared.spec.mutable_start()->mutable_saved()->set_run((*saved)->state);
  return prepared;
}

static int64_t MostBeads(const std::vector<store::NewRun>& runs) {
  int64_t most = 0;
  for (const store::NewRun& run : runs) most = std::max<int64_t>(most, run.bead_count);
  return most;
}

absl::StatusOr<StudyService::Prepared> StudyService::PrepareSent(const v1::StudySpec& sent, const study::Stop& stop) {
  study::Violations violations;
  study::CheckSent(sent, &violations);
  if (violations.empty()) return Prepare(sent, stop);
  return Prepared{.spec = {}, .violations = std::move(violations).Take(), .saved = nullptr};
}

absl::StatusOr<v1::Study> StudyService::Create(const v1::CreateStudyRequest& request, const access::User& user,
                                               const study::Stop& stop) {
  const auto once = RequestOf(request, user);
  if (!once.ok()) return once.status();
  if (server_.stopping) return absl::UnavailableError("the server is stopping; submit again later");
  const auto earlier = server_.store.requests().Find(*once);
  if (!earlier.ok()) return earlier.status();
  if (earlier->has_value()) return server_.store.studies().Get((*earlier)->study);
  const auto prepared = PrepareSent(request.spec(), stop);
  if (!prepared.ok()) return prepared.status();
  if (!prepared->violations.empty()) return InvalidStudy(prepared->violations);
  const v1::StudySpec& spec = prepared->spec;
  const auto runs = ToNewRuns(spec, study::Expand(spec, stop), stop);
  if (stop.asked()) return study::Stopped();
  GYREBOX_RETURN_IF_ERROR(access::CheckPriority(request.priority()));
  GYREBOX_RETURN_IF_ERROR(access::CheckBeads(server_.quotas, MostBeads(runs)));
  auto study = server_.store.studies().Create(spec, runs, *once, user.name, request.priority());
  if (!study.ok()) return study.status();
  spdlog::info("{} of {} accepted: {} runs", study->name(), study->owner(), runs.size());
  server_.executor.Wake();
  return study;
}

grpc::ServerUnaryReactor* StudyService::CreateStudy(grpc::CallbackServerContext* context,
                                                    const v1::CreateStudyRequest* request, v1::Study* response) {
  return AnswerOn(
      server_.slow_pool, server_, context, request, response,
      [=, this](const access::User& user, const study::Stop& stop) { return Create(*request, user, stop); });
}

absl::StatusOr<v1::StudySpec> StudyService::GrownSpec(int64_t id, const v1::StudySpec& spec,
                                                      const v1::GrowStudyRequest& request, const study::Stop& stop) {
  // Check the axes as the request gives them first: only valid axes allow the grown study to be built.
  auto faults = study::CheckGrowth(spec, request);
  if (request.axes_size() > study::kMaxAxes) return InvalidRequest(faults);
  const v1::StudySpec asked = study::AsAsked(spec, request);
  auto prepared = Prepare(asked, stop, id);
  if (!prepared.ok()) return prepared.status();
  for (auto& fault : study::InRequest(prepared->violations, asked, request)) faults.push_back(std::move(fault));
  if (!faults.empty()) return InvalidRequest(faults);
  v1::StudySpec grown = study::Grown(spec, request);
  if (request.axes().empty()) return grown;  // same points as before
  prepared = Prepare(grown, stop, id);
  if (!prepared.ok()) return prepared.status();
  faults = study::InRequest(prepared->violations, grown, request);
  if (!faults.empty()) return InvalidRequest(faults);
  return grown;
}

absl::StatusOr<store::Growth> StudyService::PlanGrowth(int64_t id, const v1::Study& study,
                                                       const v1::GrowStudyRequest& request, const study::Stop& stop) {
  if (study.state() == v1::Study::STATE_CANCELLED) return store::CancelledCannotGrow(study.name());
  const auto grown = GrownSpec(id, study.spec(), request, stop);
  if (!grown.ok()) return grown.status();
  const auto audited = server_.store.runs().GetAudited(id);
  if (!audited.ok()) return audited.status();
  store::Growth growth{*grown, ToNewRuns(*grown, study::AddedRuns(study.spec(), *grown, *audited, stop), stop),
                       study::ValuesOfOldRuns(study.spec(), *grown), study::GrowthText(study.spec(), *grown)};
  if (stop.asked()) return study::Stopped();
  GYREBOX_RETURN_IF_ERROR(access::CheckBeads(server_.quotas, MostBeads(growth.runs)));
  return growth;
}

absl::StatusOr<v1::CheckGrowthResponse> StudyService::EstimateGrowth(const v1::GrowStudyRequest& request,
                                                                     const access::User& user,
                                                                     const study::Stop& stop) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, *id));
  const auto study = server_.store.studies().Get(*id);
  if (!study.ok()) return study.status();
  const auto growth = PlanGrowth(*id, *study, request, stop);
  if (!growth.ok()) return growth.status();
  v1::CheckGrowthResponse response;
  v1::Estimate& estimate = *response.mutable_estimate();
  estimate.set_run_count(static_cast<int64_t>(growth->runs.size()));
  estimate.set_bead_count(MostBeads(growth->runs));
  for (const store::NewRun& run : growth->runs) {
    estimate.set_step_count(estimate.step_count() + run.total_steps);
    estimate.set_bead_steps(estimate.bead_steps() +
                            static_cast<double>(run.bead_count) * static_cast<double>(run.total_steps));
    estimate.set_audit_run_count(estimate.audit_run_count() + (run.plan.audit ? 1 : 0));
  }
  estimate.set_duration_seconds(estimate.bead_steps() / SetRate(&estimate));
  return response;
}

grpc::ServerUnaryReactor* StudyService::CheckGrowth(grpc::CallbackServerContext* context,
                                                    const v1::CheckGrowthRequest* request,
                                                    v1::CheckGrowthResponse* response) {
  return AnswerOn(server_.slow_pool, server_, context, request, response,
                  [=, this](const access::User& user, const study::Stop& stop) {
                    return EstimateGrowth(request->growth(), user, stop);
                  });
}

absl::StatusOr<v1::Study> StudyService::Grow(const v1::GrowStudyRequest& request, const access::User& user,
                                             const study::Stop& stop) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  GYREBOX_RETURN_IF_ERROR(CheckMayChange(server_, user, *id));
  const auto once = RequestOf(request, user);
  if (!once.ok()) return once.status();
  if (server_.stopping) return absl::UnavailableError("the server is stopping; ask again later");
  const auto earlier = server_.store.requests().Find(*once);
  if (!earlier.ok()) return earlier.status();
  auto study = server_.store.studies().Get(*id);
  if (!study.ok() || earlier->has_value()) return study;
  const auto growth = PlanGrowth(*id, *study, request, stop);
  if (!growth.ok()) return growth.status();
  if (growth->runs.empty()) return study;
  // Even without an etag from the caller, nothing may change between this read and the write.
  const std::string& etag = request.etag().empty() ? study->etag() : request.etag();
  study = server_.store.studies().Grow(*id, *growth, *once, etag, user.name);
  if (!study.ok()) return study.status();
  spdlog::info("{} grown by {}: {}, {} runs", study->name(), user.name, growth->what, growth->runs.size());
  server_.hub.Changed(*id);
  server_.executor.Wake();
  return study;
}

grpc::ServerUnaryReactor* StudyService::GrowStudy(grpc::CallbackServerContext* context,
                                                  const v1::GrowStudyRequest* request, v1::Study* response) {
  return AnswerOn(server_.slow_pool, server_, context, request, response,
                  [=, this](const access::User& user, const study::Stop& stop) { return Grow(*request, user, stop); });
}

}  // namespace gyrebox::api
