#include "api/run_service.h"

#include <algorithm>

#include "api/answer.h"
#include "api/names.h"
#include "api/page.h"
#include "api/refusal.h"
#include "store/sample_messages.h"
#include "study/return_if_error.h"

namespace gyrebox::api {

constexpr int kRunsPerPage = 100;
constexpr int kMaxRunsPerPage = 1000;
constexpr int kMaxRunsNamed = 100'000;  // as many as a study may have
/// Bytes of a sample besides its values: sequence, step, time, drive and encoding.
constexpr size_t kSampleHeadBytes = 80;

absl::StatusOr<v1::Run> RunService::Get(const std::string& name) {
  const auto parsed = ParseRunName(name);
  if (!parsed.ok()) return parsed.status();
  return server_.store.runs().Get(parsed->study, parsed->run);
}

absl::StatusOr<v1::ListRunsResponse> RunService::List(const v1::ListRunsRequest& request) {
  const auto study = ParseStudyName(request.parent());
  if (!study.ok()) return study.status();
  if (const auto found = server_.store.studies().GetOwner(*study); !found.ok()) return found.status();
  const auto page = PageOf(request, request.parent() + "/runs", kRunsPerPage, kMaxRunsPerPage);
  if (!page.ok()) return page.status();
  auto runs = server_.store.runs().List(*study, page->from, page->size + 1);
  if (!runs.ok()) return runs.status();
  v1::ListRunsResponse response;
  const int taken = FillPage(&*runs, page->size, response.mutable_runs());
  if (static_cast<size_t>(taken) < runs->size()) response.set_next_page_token(page->TokenAt(page->from + taken));
  return response;
}

int RunService::SamplesThatFit(std::span<const v1::Observable> observables) {
  size_t room = kMaxPageBytes, width = 0;
  for (const auto& observable : observables) {
    room -= std::min(room, BytesInPage(observable));
    width += observable.width();
  }
  return static_cast<int>(std::max<size_t>(1, room / (kSampleHeadBytes + width * sizeof(double))));
}

absl::StatusOr<v1::ListSamplesResponse> RunService::Samples(const v1::ListSamplesRequest& request) {
  const auto name = ParseRunName(request.parent());
  if (!name.ok()) return name.status();
  const auto run = server_.store.runs().Get(name->study, name->run);
  if (!run.ok()) return run.status();
  const auto page = PageOf(request, request.parent() + "/samples" + (request.with_drive() ? " with the drive" : ""),
                           kSamplesPerPage, kMaxSamplesPerPage);
  if (!page.ok()) return page.status();
  const auto observables = server_.store.series().GetObservables(name->study, name->run);
  if (!observables.ok()) return observables.status();
  const int limit = std::min(page->size, SamplesThatFit(*observables));
  const auto rows = server_.store.series().Read(name->study, name->run, page->from, limit);
  if (!rows.ok()) return rows.status();
  v1::ListSamplesResponse response;
  response.mutable_observables()->Assign(observables->begin(), observables->end());
  store::AddSampleMessages(*rows, response.mutable_samples());
  if (request.with_drive()) GYREBOX_RETURN_IF_ERROR(AddDrives(*name, *run, &response));
  const int64_t next = page->from + static_cast<int64_t>(rows->size());
  if (rows->size() > 0 && next < run->sample_count()) response.set_next_page_token(page->TokenAt(next));
  return response;
}

grpc::ServerUnaryReactor* RunService::GetRun(grpc::CallbackServerContext* context, const v1::GetRunRequest* request,
                                             v1::Run* response) {
  return Answer(server_, context, request, response, [=, this] { return Get(request->name()); });
}

grpc::ServerUnaryReactor* RunService::ListRuns(grpc::CallbackServerContext* context, const v1::ListRunsRequest* request,
                                               v1::ListRunsResponse* response) {
  return Answer(server_, context, request, response, [=, this] { return List(*request); });
}

grpc::ServerUnaryReactor* RunService::ListSamples(grpc::CallbackServerContext* context,
                                                  const v1::ListSamplesRequest* request,
                                                  v1::ListSamplesResponse* response) {
  return Answer(server_, context, request, response, [=, this] { return Samples(*request); });
}

/// Faults in the numbers of a request that can be found without the study.
static absl::Status CheckNumbers(const v1::WatchRunsRequest& request) {
  if (request.runs_size() > kMaxRunsNamed || request.start_sequences().size() > kMaxRunsNamed) {
    return absl::InvalidArgumentError("runs or start_sequences names too many runs; at most " +
                                      std::to_string(kMaxRunsNamed) + ", or give no runs for all");
  }
  for (const auto& [number, sequence] : request.start_sequences()) {
    if (sequence >= 0) continue;
    v1::FieldViolation fault;
    fault.set_field("start_sequences[" + std::to_string(number) + "]");
    fault.set_description(std::to_string(sequence) + " is no sequence of a sample; at least 0");
    return InvalidRequest({fault});
  }
  return absl::OkStatus();
}

grpc::ServerWriteReactor<v1::WatchRunsResponse>* RunService::WatchRuns(grpc::CallbackServerContext* context,
                                                                       const v1::WatchRunsRequest* request) {
  auto authorization = EnterStream(server_, *context, request);
  if (!authorization.ok()) return new Refusal<v1::WatchRunsResponse>(authorization.status());
  const auto study = ParseStudyName(request->parent());
  if (!study.ok()) return new Refusal<v1::WatchRunsResponse>(study.status());
  // gRPC keeps the request as long as the stream, and it may hold a number for each of many runs: take its contents.
  v1::WatchRunsRequest taken;
  taken.Swap(const_cast<v1::WatchRunsRequest*>(request));
  if (auto status = CheckNumbers(taken); !status.ok()) return new Refusal<v1::WatchRunsResponse>(status);
  return server_.hub.Watch(*study, taken, *std::move(authorization));
}

}  // namespace gyrebox::api
