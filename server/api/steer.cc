#include "api/steer.h"

#include <utility>

#include "api/names.h"
#include "api/status.h"

namespace gyrebox::api {

absl::StatusOr<Target> ParseTarget(const std::string& name) {
  if (const auto run = ParseRunName(name); run.ok()) return Target{run->study, run->run};
  const auto study = ParseStudyName(name);
  if (!study.ok()) return study.status();
  return Target{*study, 0};
}

void Steer(const Rooms& rooms, executor::SteerRequest asked,
           std::function<void(absl::StatusOr<executor::Steered>)> done) {
  rooms.executor.Steer(std::move(asked), [&pool = rooms.steer_pool, done](executor::Steered steered) {
    absl::StatusOr<executor::Steered> answer = steered;
    if (!steered.status.ok()) answer = steered.status;
    if (!steered.faults.empty()) answer = InvalidRequest(steered.faults);
    // Answering may read the store, which is no work for the executor.
    if (!pool.Post([=] { done(answer); })) done(answer);
  });
}

}  // namespace gyrebox::api
