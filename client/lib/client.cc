#include "lib/client.h"

#include <absl/strings/cord.h>
#include <grpcpp/grpcpp.h>

#include <random>
#include <thread>

#include "google/rpc/error_details.pb.h"
#include "google/rpc/status.pb.h"
#include "lib/join_pages.h"

namespace gyrebox::client {

using Clock = std::chrono::steady_clock;

constexpr char kStatusUrl[] = "type.googleapis.com/google.rpc.Status";
constexpr std::chrono::seconds kDeadline{10};
/// Tables and answers read the series of all runs; growing a study checks all its points twice.
constexpr std::chrono::seconds kLongDeadline{120};
/// Measuring all frames of all runs again.
constexpr std::chrono::seconds kLongestDeadline{3600};
constexpr std::chrono::milliseconds kFirstPause{100};
constexpr std::chrono::milliseconds kLongestPause{2000};
/// A page has about 1 MiB; a study of an older version may exceed that.
constexpr int kMaxMessageBytes = 16 << 20;
constexpr int kTries = 3;
constexpr int kPageSize = 1000;
constexpr int kRowsPerPage = 10'000;

/// Attaches the google.rpc.Status of a refusal as payload.
static absl::Status ToStatus(const grpc::Status& status) {
  if (status.ok()) return absl::OkStatus();
  absl::Status same(static_cast<absl::StatusCode>(status.error_code()), status.error_message());
  if (!status.error_details().empty()) same.SetPayload(kStatusUrl, absl::Cord(status.error_details()));
  return same;
}

/// A detail of a refusal; none if it has none of that type.
template <class Detail>
static std::optional<Detail> DetailOf(const std::string& bytes) {
  google::rpc::Status status;
  if (!status.ParseFromString(bytes)) return std::nullopt;
  for (const auto& any : status.details()) {
    if (Detail detail; any.Is<Detail>() && any.UnpackTo(&detail)) return detail;
  }
  return std::nullopt;
}

template <class Detail>
static std::optional<Detail> DetailOf(const absl::Status& status) {
  const auto payload = status.GetPayload(kStatusUrl);
  return payload ? DetailOf<Detail>(std::string(*payload)) : std::nullopt;
}

std::vector<v1::FieldViolation> ViolationsOf(const absl::Status& status) {
  std::vector<v1::FieldViolation> violations;
  if (const auto request = DetailOf<google::rpc::BadRequest>(status)) {
    for (const auto& one : request->field_violations()) {
      violations.emplace_back().set_field(one.field());
      violations.back().set_description(one.description());
    }
  }
  return violations;
}

std::string ReasonOf(const absl::Status& status) {
  const auto info = DetailOf<google::rpc::ErrorInfo>(status);
  return info ? info->reason() : "";
}

/// Delay that a refusal asks for; none if it asks for none or for more than kLongestPause.
static std::optional<Clock::duration> AskedPause(const grpc::Status& status) {
  if (status.error_code() != grpc::StatusCode::RESOURCE_EXHAUSTED) return std::nullopt;
  const auto retry = DetailOf<google::rpc::RetryInfo>(status.error_details());
  if (!retry) return std::nullopt;
  const auto& delay = retry->retry_delay();
  const auto pause = std::chrono::seconds(delay.seconds()) + std::chrono::nanoseconds(delay.nanos());
  return pause > kLongestPause ? std::nullopt : std::optional<Clock::duration>(pause);
}

/// Makes one call. Retries if the call may be repeated and the server is unreachable, or if the server asks to wait:
/// then the call has not begun.
template <class Stub, class Request, class Response>
static absl::StatusOr<Response> Call(Stub& stub,
                                     grpc::Status (Stub::*method)(grpc::ClientContext*, const Request&, Response*),
                                     const Request& request, int tries = kTries,
                                     std::chrono::seconds deadline = kDeadline) {
  const auto give_up = Clock::now() + kDeadline;  // for waiting on the server's limits; the call itself may take longer
  for (auto pause = kFirstPause;;) {
    grpc::ClientContext context;
    context.set_deadline(std::chrono::system_clock::now() + deadline);
    Response response;
    const grpc::Status status = (stub.*method)(&context, request, &response);
    if (status.ok()) return response;
    if (const auto asked = AskedPause(status); asked && Clock::now() + *asked < give_up) {
      std::this_thread::sleep_for(*asked);
      continue;
    }
    if (status.error_code() != grpc::StatusCode::UNAVAILABLE || --tries <= 0) return ToStatus(status);
    std::this_thread::sleep_for(pause);
    pause *= 2;
  }
}

/// Requests page after page and passes each to on_page.
template <class Stub, class Request, class Response, class OnPage>
static absl::Status ForPages(Stub& stub, grpc::Status (Stub::*method)(grpc::ClientContext*, const Request&, Response*),
                             Request request, OnPage on_page, std::chrono::seconds deadline = kDeadline) {
  do {
    auto page = Call(stub, method, request, kTries, deadline);
    if (!page.ok()) return page.status();
    request.set_page_token(page->next_page_token());
    on_page(*std::move(page));
  } while (!request.page_token().empty());
  return absl::OkStatus();
}

/// Joins all pages: the items of all, and the other fields of the last.
/// @param items of a page, such as &Response::mutable_runs.
template <class Stub, class Request, class Response, class Items>
static absl::StatusOr<Response> AllPages(Stub& stub,
                                         grpc::Status (Stub::*method)(grpc::ClientContext*, const Request&, Response*),
                                         const Request& request, Items* (Response::*items)(),
                                         std::chrono::seconds deadline = kDeadline) {
  Response all;
  const auto add = [&](Response page) {
    Items before = std::move(*(all.*items)());
    for (auto& item : *(page.*items)()) *before.Add() = std::move(item);
    all = std::move(page);
    *(all.*items)() = std::move(before);
  };
  const auto status = ForPages(stub, method, request, add, deadline);
  if (!status.ok()) return status;
  return all;
}

/// Repeats a request if the server no longer keeps the pages of its answer.
template <class Ask>
static auto UntilKept(Ask ask) {
  auto answer = ask();
  for (int tries = 1; tries < kTries && ReasonOf(answer.status()) == "PAGES_EXPIRED"; ++tries) answer = ask();
  return answer;
}

static std::shared_ptr<grpc::ChannelCredentials> CredentialsOf(const Endpoint& endpoint) {
  if (endpoint.authority.empty()) return grpc::InsecureChannelCredentials();
  grpc::SslCredentialsOptions options;
  options.pem_root_certs = endpoint.authority;
  const auto tls = grpc::SslCredentials(options);
  if (endpoint.token.empty()) return tls;
  return grpc::CompositeChannelCredentials(tls, grpc::AccessTokenCredentials(endpoint.token));
}

/// Sends a token without TLS, which gRPC itself refuses.
class TokenSender : public grpc::experimental::Interceptor {
 public:
  explicit TokenSender(const std::string& token) : token_(token) {}
  void Intercept(grpc::experimental::InterceptorBatchMethods* methods) override {
    if (methods->QueryInterceptionHookPoint(grpc::experimental::InterceptionHookPoints::PRE_SEND_INITIAL_METADATA)) {
      methods->GetSendInitialMetadata()->insert({"authorization", "Bearer " + token_});
    }
    methods->Proceed();
  }

 private:
  const std::string token_;
};

class TokenSenders : public grpc::experimental::ClientInterceptorFactoryInterface {
 public:
  explicit TokenSenders(const std::string& token) : token_(token) {}
  grpc::experimental::Interceptor* CreateClientInterceptor(grpc::experimental::ClientRpcInfo*) override {
    return new TokenSender(token_);
  }

 private:
  const std::string token_;
};

static bool IsThisMachine(const std::string& address) {
  return address.starts_with("127.") || address.starts_with("localhost:") || address.starts_with("[::1]:");
}

static std::shared_ptr<grpc::Channel> Connect(const Endpoint& endpoint) {
  grpc::ChannelArguments arguments;
  arguments.SetInt(GRPC_ARG_KEEPALIVE_TIME_MS, 30'000);
  arguments.SetInt(GRPC_ARG_KEEPALIVE_TIMEOUT_MS, 10'000);
  arguments.SetInt(GRPC_ARG_HTTP2_MAX_PINGS_WITHOUT_DATA, 0);
  arguments.SetInt(GRPC_ARG_MAX_RECONNECT_BACKOFF_MS, static_cast<int>(kLongestPause.count()));
  arguments.SetMaxReceiveMessageSize(kMaxMessageBytes);
  std::vector<std::unique_ptr<grpc::experimental::ClientInterceptorFactoryInterface>> senders;
  if (endpoint.authority.empty() && !endpoint.token.empty() && IsThisMachine(endpoint.address)) {
    senders.push_back(std::make_unique<TokenSenders>(endpoint.token));
  }
  return grpc::experimental::CreateCustomChannelWithInterceptors(endpoint.address, CredentialsOf(endpoint), arguments,
                                                                 std::move(senders));
}

Client::Client(const Endpoint& endpoint) {
  const auto channel = Connect(endpoint);
  studies_ = v1::StudyService::NewStub(channel);
  runs_ = v1::RunService::NewStub(channel);
  analysis_ = v1::AnalysisService::NewStub(channel);
  machine_ = v1::MachineService::NewStub(channel);
  users_ = v1::UserService::NewStub(channel);
}

absl::StatusOr<v1::CheckStudyResponse> Client::CheckStudy(const v1::StudySpec& spec) {
  v1::CheckStudyRequest request;
  *request.mutable_spec() = spec;
  return Call(*studies_, &v1::StudyService::Stub::CheckStudy, request);
}

static std::string NewRequestId() {
  std::random_device random;
  std::string id;
  for (int i = 0; i < 4; ++i) id += std::to_string(random()) + (i < 3 ? "-" : "");
  return id;
}

absl::StatusOr<v1::Study> Client::CreateStudy(const v1::StudySpec& spec) {
  v1::CreateStudyRequest request;
  *request.mutable_spec() = spec;
  request.set_request_id(NewRequestId());
  return Call(*studies_, &v1::StudyService::Stub::CreateStudy, request);
}

absl::StatusOr<v1::Study> Client::GetStudy(const std::string& name) {
  v1::GetStudyRequest request;
  request.set_name(name);
  return Call(*studies_, &v1::StudyService::Stub::GetStudy, request);
}

absl::StatusOr<v1::ListStudiesResponse> Client::ListStudies(v1::ListStudiesRequest request) {
  request.set_page_size(kPageSize);
  request.clear_page_token();
  return AllPages(*studies_, &v1::StudyService::Stub::ListStudies, request, &v1::ListStudiesResponse::mutable_studies);
}

absl::StatusOr<v1::Study> Client::CancelStudy(const std::string& name) {
  v1::CancelStudyRequest request;
  request.set_name(name);
  return Call(*studies_, &v1::StudyService::Stub::CancelStudy, request, /*tries=*/1);
}

absl::StatusOr<v1::Study> Client::UpdateStudy(const v1::UpdateStudyRequest& request) {
  return Call(*studies_, &v1::StudyService::Stub::UpdateStudy, request, /*tries=*/1);
}

absl::StatusOr<v1::Study> Client::GrowStudy(v1::GrowStudyRequest request) {
  if (request.request_id().empty()) request.set_request_id(NewRequestId());
  return Call(*studies_, &v1::StudyService::Stub::GrowStudy, request, kTries, kLongDeadline);
}

absl::StatusOr<v1::Study> Client::ArchiveStudy(const std::string& name, bool undo) {
  v1::ArchiveStudyRequest request;
  request.set_name(name);
  request.set_undo(undo);
  return Call(*studies_, &v1::StudyService::Stub::ArchiveStudy, request);
}

absl::Status Client::DeleteStudy(const std::string& name, const std::string& etag) {
  v1::DeleteStudyRequest request;
  request.set_name(name);
  request.set_etag(etag);
  return Call(*studies_, &v1::StudyService::Stub::DeleteStudy, request, /*tries=*/1).status();
}

absl::StatusOr<v1::StudyTable> Client::TabulateStudy(const std::string& name, const std::string& observable) {
  v1::TabulateStudyRequest request;
  request.set_name(name);
  request.set_observable(observable);
  request.set_page_size(kRowsPerPage);
  return UntilKept([&] {
    return AllPages(*studies_, &v1::StudyService::Stub::TabulateStudy, request, &v1::StudyTable::mutable_rows,
                    kLongDeadline);
  });
}

absl::StatusOr<v1::Answers> Client::AnalyseStudy(const std::string& name, const v1::AnalysisOptions& options) {
  v1::AnalyseStudyRequest request;
  request.set_name(name);
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

absl::Status Client::ForRuns(const std::string& study, const std::function<void(const v1::Run&)>& on_run) {
  v1::ListRunsRequest request;
  request.set_parent(study);
  request.set_page_size(kPageSize);
  return ForPages(*runs_, &v1::RunService::Stub::ListRuns, request, [&](const v1::ListRunsResponse& page) {
    for (const v1::Run& run : page.runs()) on_run(run);
  });
}

absl::StatusOr<v1::Run> Client::GetRun(const std::string& name) {
  v1::GetRunRequest request;
  request.set_name(name);
  return Call(*runs_, &v1::RunService::Stub::GetRun, request);
}

absl::StatusOr<v1::ListSamplesResponse> Client::ListSamples(const std::string& run) {
  v1::ListSamplesRequest request;
  request.set_parent(run);
  request.set_page_size(kPageSize);
  return AllPages(*runs_, &v1::RunService::Stub::ListSamples, request, &v1::ListSamplesResponse::mutable_samples);
}

absl::StatusOr<v1::Frame> Client::GetFrame(const std::string& run, std::optional<int64_t> step,
                                           const v1::FrameWindow& window) {
  v1::GetFrameRequest request;
  request.set_name(run);
  if (step) request.set_step(*step);
  *request.mutable_window() = window;
  return Call(*runs_, &v1::RunService::Stub::GetFrame, request);
}

absl::StatusOr<v1::ListFramesResponse> Client::ListFrames(const std::string& run) {
  v1::ListFramesRequest request;
  request.set_parent(run);
  return AllPages(*runs_, &v1::RunService::Stub::ListFrames, request, &v1::ListFramesResponse::mutable_frames);
}

absl::Status Client::WatchFrames(const v1::WatchFramesRequest& request,
                                 const std::function<bool(const v1::WatchFramesResponse&)>& on_message) {
  grpc::ClientContext context;
  const auto reader = runs_->WatchFrames(&context, request);
  bool more = true;
  for (v1::WatchFramesResponse message; more && reader->Read(&message);) more = on_message(message);
  if (!more) context.TryCancel();
  const grpc::Status status = reader->Finish();
  return more ? ToStatus(status) : absl::OkStatus();
}

absl::StatusOr<v1::ListSamplesResponse> Client::MeasureRun(const std::string& run, const v1::MeasureAgain& measure) {
  v1::MeasureRunRequest request;
  request.set_name(run);
  *request.mutable_measure() = measure;
  return AllPages(*runs_, &v1::RunService::Stub::MeasureRun, request, &v1::ListSamplesResponse::mutable_samples,
                  kLongDeadline);
}

absl::StatusOr<v1::Machine> Client::GetMachine() {
  return Call(*machine_, &v1::MachineService::Stub::GetMachine, v1::GetMachineRequest());
}

absl::StatusOr<v1::Machine> Client::DrainMachine(bool drain) {
  v1::DrainMachineRequest request;
  request.set_drain(drain);
  return Call(*machine_, &v1::MachineService::Stub::DrainMachine, request, /*tries=*/1);
}

absl::StatusOr<v1::AdjustRunsResponse> Client::AdjustRuns(v1::AdjustRunsRequest request) {
  if (request.request_id().empty()) request.set_request_id(NewRequestId());
  return Call(*runs_, &v1::RunService::Stub::AdjustRuns, request);
}

absl::StatusOr<v1::ListAdjustmentsResponse> Client::ListAdjustments(const std::string& run) {
  v1::ListAdjustmentsRequest request;
  request.set_parent(run);
  return AllPages(*runs_, &v1::RunService::Stub::ListAdjustments, request,
                  &v1::ListAdjustmentsResponse::mutable_adjustments);
}

/// A request with the name of a run and the etag that the caller has seen.
template <class Request>
static Request ForRun(const std::string& run, const std::string& etag) {
  Request request;
  request.set_name(run);
  request.set_etag(etag);
  return request;
}

absl::StatusOr<v1::Run> Client::PauseRun(const std::string& run, const std::string& etag) {
  return Call(*runs_, &v1::RunService::Stub::PauseRun, ForRun<v1::PauseRunRequest>(run, etag), /*tries=*/1);
}

absl::StatusOr<v1::Run> Client::ResumeRun(const std::string& run, const std::string& etag) {
  return Call(*runs_, &v1::RunService::Stub::ResumeRun, ForRun<v1::ResumeRunRequest>(run, etag), /*tries=*/1);
}

absl::StatusOr<v1::Run> Client::FinishRun(const std::string& run, const std::string& etag) {
  return Call(*runs_, &v1::RunService::Stub::FinishRun, ForRun<v1::FinishRunRequest>(run, etag), /*tries=*/1);
}

absl::StatusOr<v1::Run> Client::ExtendRun(const std::string& run, double time, const std::string& etag) {
  auto request = ForRun<v1::ExtendRunRequest>(run, etag);
  request.set_time(time);
  request.set_request_id(NewRequestId());
  return Call(*runs_, &v1::RunService::Stub::ExtendRun, request);
}

absl::StatusOr<v1::Study> Client::PauseStudy(const std::string& study) {
  v1::PauseStudyRequest request;
  request.set_name(study);
  return Call(*studies_, &v1::StudyService::Stub::PauseStudy, request, /*tries=*/1);
}

absl::StatusOr<v1::Study> Client::ResumeStudy(const std::string& study) {
  v1::ResumeStudyRequest request;
  request.set_name(study);
  return Call(*studies_, &v1::StudyService::Stub::ResumeStudy, request, /*tries=*/1);
}

absl::StatusOr<v1::SavedState> Client::SaveRun(const std::string& run) {
  v1::SaveRunRequest request;
  request.set_name(run);
  request.set_request_id(NewRequestId());
  return Call(*runs_, &v1::RunService::Stub::SaveRun, request);
}

absl::StatusOr<v1::ListSavedStatesResponse> Client::ListSavedStates(const std::string& run) {
  v1::ListSavedStatesRequest request;
  request.set_parent(run);
  return AllPages(*runs_, &v1::RunService::Stub::ListSavedStates, request,
                  &v1::ListSavedStatesResponse::mutable_states);
}

absl::StatusOr<v1::Study> Client::ReplayRun(const std::string& run) {
  v1::ReplayRunRequest request;
  request.set_name(run);
  request.set_request_id(NewRequestId());
  return Call(*runs_, &v1::RunService::Stub::ReplayRun, request);
}

absl::StatusOr<v1::PrioritizeRunsResponse> Client::PrioritizeRuns(const std::string& name, int priority) {
  v1::PrioritizeRunsRequest request;
  request.set_name(name);
  request.set_priority(priority);
  return Call(*runs_, &v1::RunService::Stub::PrioritizeRuns, request);
}

absl::StatusOr<v1::Run> Client::ExcludeRun(const v1::ExcludeRunRequest& request) {
  return Call(*runs_, &v1::RunService::Stub::ExcludeRun, request, /*tries=*/1);
}

absl::StatusOr<v1::CreateTokenResponse> Client::CreateToken(const v1::CreateTokenRequest& request) {
  return Call(*users_, &v1::UserService::Stub::CreateToken, request, /*tries=*/1);
}

absl::StatusOr<v1::ListTokensResponse> Client::ListTokens() {
  return AllPages(*users_, &v1::UserService::Stub::ListTokens, v1::ListTokensRequest(),
                  &v1::ListTokensResponse::mutable_tokens);
}

absl::StatusOr<v1::RevokeTokensResponse> Client::RevokeTokens(const v1::RevokeTokensRequest& request) {
  return Call(*users_, &v1::UserService::Stub::RevokeTokens, request, /*tries=*/1);
}

/// Number of the run named studies/{study}/runs/{run}.
static int32_t RunNumber(const std::string& name) { return std::stoi(name.substr(name.rfind('/') + 1)); }

absl::Status Client::WatchRuns(v1::WatchRunsRequest request, std::chrono::seconds patience,
                               const std::function<void(const v1::WatchRunsResponse&)>& on_message) {
  auto heard = Clock::now();
  auto pause = kFirstPause;
  for (;;) {
    grpc::ClientContext context;
    const auto reader = runs_->WatchRuns(&context, request);
    for (v1::WatchRunsResponse message; reader->Read(&message);) {
      heard = Clock::now();
      pause = kFirstPause;
      if (message.has_samples() && message.samples().samples_size() > 0) {
        const auto& samples = message.samples().samples();
        (*request.mutable_start_sequences())[RunNumber(message.samples().run())] =
            samples[samples.size() - 1].sequence() + 1;
      }
      on_message(message);
    }
    const grpc::Status status = reader->Finish();
    if (status.error_code() != grpc::StatusCode::UNAVAILABLE || Clock::now() - heard > patience) {
      return ToStatus(status);
    }
    std::this_thread::sleep_for(pause);
    pause = std::min(2 * pause, kLongestPause);
  }
}

}  // namespace gyrebox::client
