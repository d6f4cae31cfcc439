#include "api/steer.h"

#include <utility>

#include "api/names.h"
#include "status/status.h"

namespace gyrebox::api {

absl::StatusOr<Target> ParseTarget(const std::string& name) {
  if (const auto run = ParseRunName(name); run.ok()) return Target{run->study, run->run};
  const auto study = ParseStudyName(name);
  if (!study.ok()) return study.status();
  return Target{*study, 0};
}

void Steer(const ServerContext& server, executor::SteerRequest asked,
           std::function<void(absl::StatusOr<executor::Steered>)> done) {
  server.executor.Steer(std::move(asked), [&pool = server.steer_pool, done](executor::Steered steered) {
    absl::StatusOr<executor::Steered> answer = steered;
    if (!steered.status.ok()) answer = steered.status;
    if (!steered.faults.empty()) answer = InvalidRequest(steered.faults);
    // Answer on the pool: it may read the store, which must not delay the executor.
    if (!pool.Post([=] { done(answer); })) done(answer);
  });
}

}  // namespace gyrebox::api
