#include "cpu/ensemble.h"

#include <tbb/parallel_for.h>

namespace gyrebox::kernels {

CpuEnsemble::CpuEnsemble(std::span<const RunSpec> specs, const StepCode& code, std::shared_ptr<tbb::task_arena> arena)
    : arena_(std::move(arena)), beds_(specs.size()) {
  arena_->execute([&] {
    tbb::parallel_for(std::size_t{0}, specs.size(),
                      [&](std::size_t i) { beds_[i] = std::make_unique<Bed>(specs[i], code); });
  });
}

template <class Work>
void CpuEnsemble::ForBeds(const Work& work) {
  arena_->execute([&] {
    tbb::parallel_for(
        tbb::blocked_range<std::size_t>(0, beds_.size(), 1),
        [&](const auto& range) {
          for (std::size_t i = range.begin(); i < range.end(); ++i) {
            if (beds_[i]->spec().n_beads < kTiledBeads) work(i);
          }
        },
        tbb::simple_partitioner());
    for (std::size_t i = 0; i < beds_.size(); ++i) {
      if (beds_[i]->spec().n_beads >= kTiledBeads) work(i);
    }
  });
}

std::vector<RunChunk> CpuEnsemble::Advance(std::int64_t steps) {
  std::vector<RunChunk> chunks(beds_.size());
  ForBeds([&](std::size_t i) { chunks[i] = beds_[i]->Advance(steps); });
  return chunks;
}

void CpuEnsemble::Load(std::size_t run, const BedState& state) {
  arena_->execute([&] { beds_[run]->Load(state); });
}

Ensemble::RebuildStats CpuEnsemble::rebuilds() const {
  RebuildStats sum;
  for (const auto& bed : beds_) {
    sum.count += bed->rebuilds().count;
    sum.seconds += bed->rebuilds().seconds;
  }
  return sum;
}

}  // namespace gyrebox::kernels
