/// Runs stepped together on a CUDA device.
#pragma once

#include <memory>
#include <span>
#include <vector>

#include "cuda/bed.h"

namespace gyrebox::kernels::cuda {

struct Round;

/// Submits work to the device in rounds of launches. While the device runs one round, the host plans the next, and then
/// collects the results of the first. The host never waits within a round.
class CudaEnsemble : public Ensemble {
 public:
  /// Throws std::bad_alloc if the beds do not fit.
  CudaEnsemble(std::span<const RunSpec> specs, std::shared_ptr<Driver> driver);
  ~CudaEnsemble() override;

  std::size_t size() const override { return beds_.size(); }
  const std::vector<Column>& columns(std::size_t run) const override { return beds_[run]->columns(); }
  std::vector<RunChunk> Advance(std::int64_t steps) override;
  void Drop(std::size_t run) override { beds_[run]->course().Drop(); }
  std::int64_t Adjust(std::size_t run, const Adjustment& adjustment) override {
    return beds_[run]->course().Adjust(adjustment);
  }
  const std::vector<Adjustment>& adjustments(std::size_t run) const override {
    return beds_[run]->course().controls().adjustments();
  }
  void EndAt(std::size_t run, std::int64_t step) override { beds_[run]->course().EndAt(step); }
  BedState Save(std::size_t run) const override { return beds_[run]->Save(); }
  BedState Checkpoint(std::size_t run) const override {
    const BedState* kept = beds_[run]->course().kept();
    return kept != nullptr ? *kept : beds_[run]->Save();
  }
  void Load(std::size_t run, const BedState& state) override;
  std::vector<Bead> Beads(std::size_t run) const override { return beds_[run]->Beads(); }
  RebuildStats rebuilds() const override;

 private:
  // Target of a bed in this Advance().
  struct Goal {
    std::int64_t step = 0;
    bool closed = false;   // planned to its end
    bool stopped = false;  // by the device
  };

  bool Plan(Round& round);
  std::uint32_t CommonDistance(const std::vector<std::uint32_t>& beds) const;
  void PlanLaunch(Round& round, const std::vector<std::uint32_t>& beds, std::uint32_t substeps);
  std::vector<DeviceBed::Settings> PlanSubsteps(Round& round, const std::vector<std::uint32_t>& beds,
                                                std::uint32_t substeps);
  void AddProbe(Round& round, StepBatch& batch);
  void AddLaunch(Round& round, std::int32_t mode, const std::vector<StepBatch>& batches);
  void Enqueue(Round& round);
  void Collect(Round& round, std::vector<RunChunk>& chunks);
  void Settle(std::vector<RunChunk>& chunks);
  bool Goes(std::size_t bed) const;
  static std::int32_t ModeOf(const DeviceBed& bed, bool thermal);
  void SendPlans();
  void SendStatus(std::size_t bed);

  std::shared_ptr<Driver> driver_;
  std::vector<std::unique_ptr<DeviceBed>> beds_;
  std::vector<Goal> goals_;
  SharedTable<BedPlan> plans_;
  SharedTable<BedStatus> statuses_;
  std::unique_ptr<Round> rounds_[2];
};

}  // namespace gyrebox::kernels::cuda
