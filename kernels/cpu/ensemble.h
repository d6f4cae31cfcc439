/// An ensemble on the CPU.
#pragma once

#include <tbb/task_arena.h>

#include <memory>
#include <span>
#include <vector>

#include "cpu/bed.h"

namespace gyrebox::kernels {

/// Steps small beds one per thread, and beds of kTiledBeads or more one after another, each by all threads.
class CpuEnsemble : public Ensemble {
 public:
  CpuEnsemble(std::span<const RunSpec> specs, const StepCode& code, std::shared_ptr<tbb::task_arena> arena);

  std::size_t size() const override { return beds_.size(); }
  const std::vector<Column>& columns(std::size_t run) const override { return beds_[run]->columns(); }
  std::vector<RunChunk> Advance(std::int64_t steps) override;
  void Drop(std::size_t run) override { beds_[run]->Drop(); }
  std::int64_t Adjust(std::size_t run, const Adjustment& adjustment) override { return beds_[run]->Adjust(adjustment); }
  const std::vector<Adjustment>& adjustments(std::size_t run) const override { return beds_[run]->adjustments(); }
  void EndAt(std::size_t run, std::int64_t step) override { beds_[run]->EndAt(step); }
  BedState Save(std::size_t run) const override { return beds_[run]->Save(); }
  BedState Checkpoint(std::size_t run) const override { return beds_[run]->Checkpoint(); }
  void Load(std::size_t run, const BedState& state) override;
  std::vector<Bead> Beads(std::size_t run) const override { return beds_[run]->Beads(); }
  RebuildStats rebuilds() const override;

 private:
  template <class Work>
  void ForBeds(const Work& work);

  std::shared_ptr<tbb::task_arena> arena_;  // shared with the device, which may be destroyed first
  std::vector<std::unique_ptr<Bed>> beds_;
};

}  // namespace gyrebox::kernels
