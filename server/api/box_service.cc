#include "api/box_service.h"

#include <google/protobuf/util/time_util.h>

#include "api/answer.h"

namespace gyrebox::api {

absl::StatusOr<v1::Box> BoxService::Get() {
  v1::Box box;
  box.set_name("box");
  box.set_version(GYREBOX_VERSION);
  box.set_device(rooms_.device.name());
  box.set_device_description(rooms_.device.description());
  box.set_device_reason(rooms_.device_reason);
  box.set_thread_count(rooms_.device.thread_count());
  box.set_memory_bytes(rooms_.device.memory_bytes());
  *box.mutable_start_time() =
      google::protobuf::util::TimeUtil::TimeTToTimestamp(std::chrono::system_clock::to_time_t(rooms_.start_time));
  const auto starting = rooms_.store.CountRuns(v1::Run::STATE_STARTING);
  if (!starting.ok()) return starting.status();
  const auto running = rooms_.store.CountRuns(v1::Run::STATE_RUNNING);
  if (!running.ok()) return running.status();
  const auto queued = rooms_.store.CountRuns(v1::Run::STATE_QUEUED);
  if (!queued.ok()) return queued.status();
  box.set_running_count(static_cast<int32_t>(*starting + *running));
  box.set_queued_count(static_cast<int32_t>(*queued));
  box.set_bead_steps_per_second(rooms_.executor.rate().Recent(executor::RateMeter::Clock::now()));
  return box;
}

grpc::ServerUnaryReactor* BoxService::GetBox(grpc::CallbackServerContext* context, const v1::GetBoxRequest*,
                                             v1::Box* response) {
  return Answer<v1::Box>(rooms_, context, response, [this] { return Get(); });
}

}  // namespace gyrebox::api
