#include "executor/live_frames.h"

#include <algorithm>

namespace gyrebox::executor {

constexpr std::chrono::milliseconds kBetweenFrames{100};
constexpr int kRestPerWork = 20;

std::shared_ptr<const store::Frame> LiveFrames::Look(const BatchManager& batches, int64_t study, int64_t number) {
  const auto [on, index] = batches.Find(study, number);
  if (on == nullptr || !on->batch.initialized()) return nullptr;
  const auto begin = Clock::now();
  std::erase_if(taken_, [&](const auto& entry) { return entry.second.until <= begin; });
  const auto known = taken_.find({study, number});
  if (known != taken_.end()) return known->second.frame;
  auto frame = std::make_shared<const store::Frame>(on->batch.FrameNow(index));
  const auto end = Clock::now();
  taken_[{study, number}] = {frame, end + std::max<Clock::duration>(kBetweenFrames, kRestPerWork * (end - begin))};
  return frame;
}

}  // namespace gyrebox::executor
