#include <grpcpp/grpcpp.h>

#include <algorithm>
#include <thread>

#include "lib/call.h"
#include "lib/client.h"

namespace gyrebox::client {

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

/// Number of the run named studies/{study}/runs/{run}.
static int32_t RunNumber(const std::string& name) { return std::stoi(name.substr(name.rfind('/') + 1)); }

absl::Status Client::WatchRuns(v1::WatchRunsRequest request, std::chrono::seconds patience,
                               const std::function<void(const v1::WatchRunsResponse&)>& on_message) {
  using Clock = std::chrono::steady_clock;
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
