#include "cpu/ensemble.h"

#include <tbb/parallel_for.h>

#include <algorithm>

namespace gyrebox::kernels {

/// Max sweeps times beads of one converged step in a chunk: some tenths of a second on two threads. A longer step
/// continues in the next chunk, so that no caller waits minutes for the end of a chunk.
constexpr std::int64_t kBeadSweeps = 8'000'000;

static bool IsLarge(const Bed& bed) { return bed.spec().n_beads >= kTiledBeads; }

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
            if (!IsLarge(*beds_[i])) work(i);
          }
        },
        tbb::simple_partitioner());
    for (std::size_t i = 0; i < beds_.size(); ++i) {
      if (IsLarge(*beds_[i])) work(i);
    }
  });
}

std::vector<RunChunk> CpuEnsemble::Advance(std::int64_t steps) {
  std::vector<RunChunk> chunks(beds_.size());
  // Large beds run one after another, so they divide the budget.
  const auto large = std::count_if(beds_.begin(), beds_.end(), [](const auto& bed) { return IsLarge(*bed); });
  ForBeds([&](std::size_t i) {
    const std::int64_t share = IsLarge(*beds_[i]) ? std::max<std::int64_t>(large, 1) : 1;
    chunks[i] = beds_[i]->Advance(steps, std::max<std::int64_t>(kBeadSweeps / share / beds_[i]->spec().n_beads, 1));
  });
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
