// Calls of RunService about frames.
#include <algorithm>
#include <limits>

#include "api/answer.h"
#include "api/names.h"
#include "api/page.h"
#include "api/refusal.h"
#include "api/run_service.h"
#include "digest/measure_again.h"
#include "schema/number_text.h"
#include "store/sample_messages.h"
#include "stream/frame_message.h"

namespace gyrebox::api {

constexpr int kFramesPerPage = 10'000;
constexpr int kMaxFramesPerPage = 100'000;
/// Max beads measured again for one page, over all its frames: a few seconds.
constexpr int64_t kBeadsPerPage = 2'000'000;
constexpr double kShortestInterval = 0.05, kLongestInterval = 3600;

static v1::FieldViolation Fault(const std::string& field, const std::string& what) {
  v1::FieldViolation fault;
  fault.set_field(field);
  fault.set_description(what);
  return fault;
}

static absl::Status NoFrame(const v1::Run& run, bool step_given) {
  if (step_given) {
    return absl::FailedPreconditionError(run.name() + " has neither a frame nor a state at that step or before it; " +
                                         "give no step for the newest");
  }
  const bool open = run.state() <= v1::Run::STATE_PAUSED;
  return absl::FailedPreconditionError(
      run.name() + " is " + store::InWords(run.state()) +
      (open ? " and has no frame yet; ask again once it is under way"
            : " and left no state, and its study keeps no frames; give measure.frame_interval for runs that do"));
}

static absl::StatusOr<v1::Frame> ToAnswer(const v1::Run& run, const store::Frame& frame,
                                          const v1::FrameWindow& window) {
  auto message = stream::ToMessage(run.name(), frame, window);
  if (!message.faults.empty()) return InvalidRequest(message.faults);
  return std::move(message.frame);
}

absl::StatusOr<v1::Frame> RunService::StoredFrame(const v1::Run& run, const v1::GetFrameRequest& request) {
  const auto name = ParseRunName(run.name());
  if (!name.ok()) return name.status();
  const int64_t at_most = request.has_step() ? request.step() : std::numeric_limits<int64_t>::max();
  const auto frame = server_.store.frames().Read(name->study, name->run, at_most);
  if (!frame.ok()) return frame.status();
  if (!frame->has_value()) return NoFrame(run, request.has_step());
  return ToAnswer(run, **frame, request.window());
}

void RunService::Frame(const v1::GetFrameRequest& request, const FrameDone& done) {
  const auto name = ParseRunName(request.name());
  if (!name.ok()) return done(name.status());
  const auto run = server_.store.runs().Get(name->study, name->run);
  if (!run.ok()) return done(run.status());
  if (request.has_step() && request.step() < 0) {
    return done(InvalidRequest({Fault("step", std::to_string(request.step()) + " is no step; at least 0")}));
  }
  const bool on_device = run->state() == v1::Run::STATE_STARTING || run->state() == v1::Run::STATE_RUNNING;
  // Frames before the run's present step are on disk.
  if (!on_device || (request.has_step() && request.step() < run->step())) return done(StoredFrame(*run, request));
  server_.executor.Look(
      name->study, name->run,
      [this, request, run = *run, done](const absl::StatusOr<std::shared_ptr<const store::Frame>>& live) {
        if (!live.ok()) return done(live.status());
        const auto answer = [this, request, run, done, frame = *live] {
          const bool fits = frame != nullptr && (!request.has_step() || frame->step <= request.step());
          done(fits ? ToAnswer(run, *frame, request.window()) : StoredFrame(run, request));
        };
        if (!server_.pool.Post(answer)) done(TooManyCalls());
      });
}

absl::StatusOr<v1::ListFramesResponse> RunService::Frames(const v1::ListFramesRequest& request) {
  const auto name = ParseRunName(request.parent());
  if (!name.ok()) return name.status();
  if (const auto run = server_.store.runs().Get(name->study, name->run); !run.ok()) return run.status();
  const auto page = PageOf(request, request.parent() + "/frames", kFramesPerPage, kMaxFramesPerPage);
  if (!page.ok()) return page.status();
  const auto stamps = server_.store.frames().List(name->study, name->run, page->from, page->size + 1);
  if (!stamps.ok()) return stamps.status();
  v1::ListFramesResponse response;
  size_t bytes = 0;
  for (const store::FrameStamp& stamp : *stamps) {
    v1::FrameStamp one;
    one.set_step(stamp.step);
    one.set_time(stamp.time);
    bytes += BytesInPage(one);
    if (response.frames_size() == page->size || bytes > kMaxPageBytes) {
      response.set_next_page_token(page->TokenAt(stamp.step));
      break;
    }
    *response.add_frames() = one;
  }
  return response;
}

grpc::ServerUnaryReactor* RunService::GetFrame(grpc::CallbackServerContext* context, const v1::GetFrameRequest* request,
                                               v1::Frame* response) {
  return AnswerLater(server_, context, request, response,
                     [=, this](const access::User&, const FrameDone& done) { Frame(*request, done); });
}

grpc::ServerUnaryReactor* RunService::ListFrames(grpc::CallbackServerContext* context,
                                                 const v1::ListFramesRequest* request,
                                                 v1::ListFramesResponse* response) {
  return Answer(server_, context, request, response, [=, this] { return Frames(*request); });
}

absl::StatusOr<v1::ListSamplesResponse> RunService::Measured(const v1::MeasureRunRequest& request,
                                                             const study::Stop& stop) {
  const auto name = ParseRunName(request.name());
  if (!name.ok()) return name.status();
  const auto run = server_.store.runs().Get(name->study, name->run);
  if (!run.ok()) return run.status();
  if (const auto faults = analysis::FaultsOf(request.measure(), "measure"); !faults.empty()) {
    return InvalidRequest(faults);
  }
  // Samples measured again with other options form another list.
  const std::string list = request.name() + "/measured " + request.measure().SerializeAsString();
  const auto page = PageOf(request, list, kSamplesPerPage, kMaxSamplesPerPage);
  if (!page.ok()) return page.status();
  const auto study = server_.store.studies().Get(name->study);
  if (!study.ok()) return study.status();
  const auto series =
      analysis::FrameSeries::Open(server_.store, name->study, name->run, *run, study->spec(), request.measure());
  if (!series.ok()) return series.status();
  if (series->size() == 0) {
    return absl::FailedPreconditionError(run->name() + " keeps no frames to measure again; give " +
                                         "measure.frame_interval in the study for runs that do");
  }
  const int most = std::min(page->size, SamplesThatFit(series->observables()));
  const int64_t limit = std::clamp<int64_t>(kBeadsPerPage / series->bead_count(), 1, most);
  const auto rows = series->Measure(page->from, limit, stop);
  if (!rows.ok()) return rows.status();
  v1::ListSamplesResponse response;
  response.mutable_observables()->Assign(series->observables().begin(), series->observables().end());
  store::AddSampleMessages(*rows, response.mutable_samples());
  const int64_t next = page->from + static_cast<int64_t>(rows->size());
  if (next < series->size()) response.set_next_page_token(page->TokenAt(next));
  return response;
}

grpc::ServerUnaryReactor* RunService::MeasureRun(grpc::CallbackServerContext* context,
                                                 const v1::MeasureRunRequest* request,
                                                 v1::ListSamplesResponse* response) {
  return AnswerOn(server_.slow_pool, server_, context, request, response,
                  [=, this](const study::Stop& stop) { return Measured(*request, stop); });
}

static absl::Status Check(const v1::WatchFramesRequest& request) {
  if (!request.has_interval_seconds()) return absl::OkStatus();
  const double interval = request.interval_seconds();
  if (interval >= kShortestInterval && interval <= kLongestInterval) return absl::OkStatus();
  return InvalidRequest(
      {Fault("interval_seconds",
             schema::NumberText(interval) + " s is no time between frames; at least 0.05 and at most 3600")});
}

grpc::ServerWriteReactor<v1::WatchFramesResponse>* RunService::WatchFrames(grpc::CallbackServerContext* context,
                                                                           const v1::WatchFramesRequest* request) {
  using NotNow = Refusal<v1::WatchFramesResponse>;
  auto pass = EnterStream(server_, *context, request);
  if (!pass.ok()) return new NotNow(pass.status());
  const auto run = ParseRunName(request->name());
  if (!run.ok()) return new NotNow(run.status());
  if (auto status = Check(*request); !status.ok()) return new NotNow(status);
  return server_.frames.Watch(*run, *request, *std::move(pass));
}

}  // namespace gyrebox::api
