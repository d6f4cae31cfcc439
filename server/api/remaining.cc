#include "api/remaining.h"

#include "api/names.h"

namespace gyrebox::api {

Remaining::Remaining(store::Store& store, const executor::RateMeter& rate)
    : speed_(rate.Recent(executor::RateMeter::Clock::now())) {
  if (speed_ == 0) return;
  if (auto work = store.queue().OpenWork(); work.ok()) work_ = *std::move(work);
}

void Remaining::AddTo(v1::Study* study) const {
  if (speed_ == 0 || study->has_end_time()) return;
  const auto id = ParseStudyName(study->name());
  double work = 0;
  for (auto one = work_.begin(); one != work_.end() && one->first <= id.value_or(0); ++one) work += one->second;
  study->set_remaining_seconds(work / speed_);
}

}  // namespace gyrebox::api
