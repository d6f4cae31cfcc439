// What StudyService takes in: new studies, and what studies grow by.
#include <spdlog/spdlog.h>

#include <algorithm>
#include <cctype>
#include <optional>

#include "api/answer.h"
#include "api/names.h"
#include "api/quotas.h"
#include "api/study_service.h"
#include "store/saved_run.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "study/grow.h"
#include "study/run_spec.h"
#include "study/validate.h"

namespace gyrebox::api {

constexpr size_t kLongestRequestId = 64;

static bool IsRequestId(const std::string& id) {
  return id.size() <= kLongestRequestId && std::all_of(id.begin(), id.end(), [](unsigned char c) {
           return (c < 0x80 && std::isalnum(c)) || c == '-' || c == '_';
         });
}

static absl::Status CheckRequestId(const std::string& id) {
  if (IsRequestId(id)) return absl::OkStatus();
  return absl::InvalidArgumentError("request_id is not up to 64 letters, digits, - or _");
}

static std::vector<store::NewRun> ToNewRuns(const v1::StudySpec& spec, std::vector<study::PlannedRun> plans) {
  std::vector<store::NewRun> runs;
  for (study::PlannedRun& plan : plans) {
    const kernels::RunSpec run = study::ToRunSpec(study::AtRun(spec, plan), plan.seeds);
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

static More MoreOf(const std::vector<store::NewRun>& runs) {
  More more{.runs = static_cast<int64_t>(runs.size()), .most_beads = 0};
  for (const store::NewRun& run : runs) more.most_beads = std::max<int64_t>(more.most_beads, run.bead_count);
  return more;
}

absl::StatusOr<v1::Study> StudyService::Create(const v1::CreateStudyRequest& request, const access::Person& person) {
  if (auto status = CheckRequestId(request.request_id()); !status.ok()) return status;
  if (rooms_.stopping) return absl::UnavailableError("the server is stopping; submit again later");
  auto earlier = rooms_.store.FindRequest(request.request_id());
  if (!earlier.ok()) return earlier.status();
  if (earlier->has_value()) return **std::move(earlier);
  const auto prepared = Prepare(request.spec());
  if (!prepared.ok()) return prepared.status();
  if (!prepared->violations.empty()) return InvalidStudy(prepared->violations);
  const v1::StudySpec& spec = prepared->spec;
  const auto runs = ToNewRuns(spec, study::Expand(spec));
  if (auto status = CheckPriority(request.priority()); !status.ok()) return status;
  if (auto status = CheckQuotas(rooms_, person.name, MoreOf(runs)); !status.ok()) return status;
  auto study = rooms_.store.CreateStudy(spec, runs, request.request_id(), person.name, request.priority());
  if (!study.ok()) return study.status();
  spdlog::info("{} of {} accepted: {} runs", study->name(), study->owner(), runs.size());
  rooms_.executor.Wake();
  return study;
}

grpc::ServerUnaryReactor* StudyService::CreateStudy(grpc::CallbackServerContext* context,
                                                    const v1::CreateStudyRequest* request, v1::Study* response) {
  return Answer(rooms_, context, request, response,
                [=, this](const access::Person& person) { return Create(*request, person); });
}

absl::StatusOr<v1::StudySpec> StudyService::CheckGrowth(const v1::StudySpec& spec,
                                                        const v1::GrowStudyRequest& request) {
  // The axes as the request gives them first: only where those are sound can the study be put together.
  auto faults = study::CheckGrowth(spec, request);
  const v1::StudySpec asked = study::AsAsked(spec, request);
  auto prepared = Prepare(asked);
  if (!prepared.ok()) return prepared.status();
  for (auto& fault : study::InRequest(prepared->violations, asked, request)) faults.push_back(std::move(fault));
  if (!faults.empty()) return InvalidRequest(faults);
  v1::StudySpec grown = study::Grown(spec, request);
  if (request.axes().empty()) return grown;  // the same points
  prepared = Prepare(grown);
  if (!prepared.ok()) return prepared.status();
  faults = study::InRequest(prepared->violations, grown, request);
  if (!faults.empty()) return InvalidRequest(faults);
  return grown;
}

absl::StatusOr<v1::Study> StudyService::Grow(const v1::GrowStudyRequest& request, const access::Person& person) {
  const auto id = ParseStudyName(request.name());
  if (!id.ok()) return id.status();
  if (auto status = CheckMayChange(rooms_, person, *id); !status.ok()) return status;
  if (auto status = CheckRequestId(request.request_id()); !status.ok()) return status;
  if (rooms_.stopping) return absl::UnavailableError("the server is stopping; ask again later");
  const auto earlier = rooms_.store.FindGrowth(request.request_id());
  if (!earlier.ok()) return earlier.status();
  if (earlier->has_value() && **earlier != *id) {
    return absl::InvalidArgumentError("request_id was that of a growth of studies/" + std::to_string(**earlier) +
                                      "; give a new one");
  }
  auto study = rooms_.store.GetStudy(*id);
  if (!study.ok() || earlier->has_value()) return study;
  if (study->state() == v1::Study::STATE_CANCELLED) {
    return absl::FailedPreconditionError(study->name() + " is CANCELLED and cannot grow; submit a study anew");
  }
  const auto grown = CheckGrowth(study->spec(), request);
  if (!grown.ok()) return grown.status();
  store::Growth growth{*grown, ToNewRuns(*grown, study::AddedRuns(study->spec(), *grown)),
                       study::ValuesOfOldRuns(study->spec(), *grown), study::GrowthText(study->spec(), *grown)};
  if (growth.runs.empty()) return study;
  if (auto status = CheckQuotas(rooms_, study->owner(), MoreOf(growth.runs)); !status.ok()) return status;
  // Without an etag of the caller's, still nothing may have come between what was read here and what is written.
  const std::string& etag = request.etag().empty() ? study->etag() : request.etag();
  study = rooms_.store.GrowStudy(*id, growth, request.request_id(), etag, person.name);
  if (!study.ok()) return study.status();
  spdlog::info("{} grown by {}: {}, {} runs", study->name(), person.name, growth.what, growth.runs.size());
  rooms_.hub.Changed(*id);
  rooms_.executor.Wake();
  return study;
}

grpc::ServerUnaryReactor* StudyService::GrowStudy(grpc::CallbackServerContext* context,
                                                  const v1::GrowStudyRequest* request, v1::Study* response) {
  return Answer(rooms_, context, request, response,
                [=, this](const access::Person& person) { return Grow(*request, person); });
}

}  // namespace gyrebox::api
