#include "executor/kept_frames.h"

#include <algorithm>
#include <iterator>
#include <utility>

namespace gyrebox::executor {

bool KeptFrames::Holds(int64_t step) const {
  return step == last_given_ || (!held_.empty() && held_.back().step == step);
}

int64_t KeptFrames::Cut(int64_t step, int64_t steps) const {
  return every_ > 0 ? std::min(steps, every_ - step % every_) : steps;
}

void KeptFrames::GiveOut(int64_t up_to, std::vector<store::Frame>* out) {
  const auto end = std::find_if(held_.begin(), held_.end(), [&](const auto& frame) { return frame.step > up_to; });
  if (end != held_.begin()) last_given_ = std::prev(end)->step;
  out->insert(out->end(), std::make_move_iterator(held_.begin()), std::make_move_iterator(end));
  held_.erase(held_.begin(), end);
}

void KeptFrames::Went(int64_t from, int64_t to, std::vector<store::Frame>* out) {
  std::erase_if(held_, [&](const store::Frame& frame) { return frame.step > to; });
  // A retry returns to the last kept state, at a multiple of keep_steps. That state is kept only when the run advances
  // from its step, hence `from`.
  GiveOut(retry_.max_halvings > 0 ? from / retry_.keep_steps * retry_.keep_steps : to, out);
}

}  // namespace gyrebox::executor
