#include "api/rooms.h"

namespace gyrebox::api {

void AddRemaining(store::Store& store, const executor::RateMeter& rate, int64_t id, v1::Study* study) {
  const double speed = rate.Recent(executor::RateMeter::Clock::now());
  if (speed == 0 || study->has_end_time()) return;
  const auto work = store.OpenWork(id);
  if (work.ok()) study->set_remaining_seconds(*work / speed);
}

}  // namespace gyrebox::api
