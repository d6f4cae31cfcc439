#include "api/run_service.h"

#include <algorithm>

#include "api/answer.h"
#include "api/names.h"
#include "api/refusal.h"
#include "store/sample_messages.h"

namespace gyrebox::api {

constexpr int kRunsPerPage = 100;
constexpr int kMostRunsPerPage = 1000;
constexpr int kMostRunsNamed = 100'000;
constexpr int kSamplesPerPage = 1000;
constexpr int kMostSamplesPerPage = 10'000;
/// Keeps a page below the 4 MiB that a receiver takes.
constexpr int kMostNumbersPerPage = 256 * 1024;

absl::StatusOr<v1::Run> RunService::Get(const std::string& name) {
  const auto parsed = ParseRunName(name);
  if (!parsed.ok()) return parsed.status();
  return rooms_.store.GetRun(parsed->study, parsed->run);
}

absl::StatusOr<v1::ListRunsResponse> RunService::List(const v1::ListRunsRequest& request) {
  const auto study = ParseStudyName(request.parent());
  if (!study.ok()) return study.status();
  if (const auto found = rooms_.store.GetStudy(*study); !found.ok()) return found.status();
  const auto size = PageSize(request.page_size(), kRunsPerPage, kMostRunsPerPage);
  if (!size.ok()) return size.status();
  const std::string list = request.parent() + "/runs";
  const auto above = ParsePageToken(list, request.page_token(), 0);
  if (!above.ok()) return above.status();
  auto runs = rooms_.store.ListRuns(*study, *above, *size + 1);
  if (!runs.ok()) return runs.status();
  v1::ListRunsResponse response;
  if (runs->size() > static_cast<size_t>(*size)) {
    runs->pop_back();
    response.set_next_page_token(MakePageToken(list, *above + *size));
  }
  response.mutable_runs()->Assign(runs->begin(), runs->end());
  return response;
}

static int SamplesThatFit(const std::vector<v1::Observable>& observables) {
  int width = 2;
  for (const auto& observable : observables) width += observable.width();
  return std::max(1, kMostNumbersPerPage / width);
}

absl::StatusOr<v1::ListSamplesResponse> RunService::Samples(const v1::ListSamplesRequest& request) {
  const auto name = ParseRunName(request.parent());
  if (!name.ok()) return name.status();
  const auto run = rooms_.store.GetRun(name->study, name->run);
  if (!run.ok()) return run.status();
  const auto size = PageSize(request.page_size(), kSamplesPerPage, kMostSamplesPerPage);
  if (!size.ok()) return size.status();
  const std::string list = request.parent() + "/samples";
  const auto from = ParsePageToken(list, request.page_token(), 0);
  if (!from.ok()) return from.status();
  const auto observables = rooms_.store.GetObservables(name->study, name->run);
  if (!observables.ok()) return observables.status();
  const int limit = std::min(*size, SamplesThatFit(*observables));
  const auto rows = rooms_.store.ReadSamples(name->study, name->run, *from, limit);
  if (!rows.ok()) return rows.status();
  v1::ListSamplesResponse response;
  response.mutable_observables()->Assign(observables->begin(), observables->end());
  store::AddSampleMessages(*rows, response.mutable_samples());
  const int64_t next = *from + static_cast<int64_t>(rows->size());
  if (rows->size() > 0 && next < run->sample_count()) response.set_next_page_token(MakePageToken(list, next));
  return response;
}

grpc::ServerUnaryReactor* RunService::GetRun(grpc::CallbackServerContext* context, const v1::GetRunRequest* request,
                                             v1::Run* response) {
  return Answer(rooms_, context, request, response, [=, this] { return Get(request->name()); });
}

grpc::ServerUnaryReactor* RunService::ListRuns(grpc::CallbackServerContext* context, const v1::ListRunsRequest* request,
                                               v1::ListRunsResponse* response) {
  return Answer(rooms_, context, request, response, [=, this] { return List(*request); });
}

grpc::ServerUnaryReactor* RunService::ListSamples(grpc::CallbackServerContext* context,
                                                  const v1::ListSamplesRequest* request,
                                                  v1::ListSamplesResponse* response) {
  return Answer(rooms_, context, request, response, [=, this] { return Samples(*request); });
}

grpc::ServerWriteReactor<v1::WatchRunsResponse>* RunService::WatchRuns(grpc::CallbackServerContext* context,
                                                                       const v1::WatchRunsRequest* request) {
  const auto study = ParseStudyName(request->parent());
  if (!study.ok()) return new Refusal<v1::WatchRunsResponse>(study.status());
  auto pass = EnterStream(rooms_, *context, request);
  if (!pass.ok()) return new Refusal<v1::WatchRunsResponse>(pass.status());
  if (request->runs_size() > kMostRunsNamed || request->start_sequences().size() > kMostRunsNamed) {
    return new Refusal<v1::WatchRunsResponse>(
        absl::InvalidArgumentError("runs or start_sequences names too many runs; at most " +
                                   std::to_string(kMostRunsNamed) + ", or give no runs for all"));
  }
  return rooms_.hub.Watch(*study, *request, *std::move(pass));
}

}  // namespace gyrebox::api
