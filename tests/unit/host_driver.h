/// A CUDA driver substitute that needs no device.
#pragma once

#include <cstring>
#include <new>
#include <string>
#include <vector>

#include "cuda/driver.h"
#include "cuda/launch_passes.h"
#include "cuda/modes.h"
#include "cuda/resident.h"

namespace gyrebox::kernels::cuda {

/// Shared memory of a block on compute capability 9.0, minus what kernels take for themselves.
inline constexpr std::size_t kUsualResidentBytes = 231000;

/// A device in host memory: each launch runs at once, bed by bed. Resident beds are stepped in separate memory, laid
/// out as on a device.
/// Teams: blocks() of a team, and Together(work), which has every thread of a new one call work(team).
template <class Teams>
class HostDriver : public Driver {
 public:
  explicit HostDriver(std::size_t resident_bytes = kUsualResidentBytes, const Teams& teams = {})
      : resident_bytes_(resident_bytes), teams_(teams) {}

  DeviceFacts facts() const override {
    return {"host threads standing in for a device", 1, 0, 0, std::int64_t{1} << 33, std::int64_t{1} << 33};
  }
  void* Allocate(std::size_t bytes) override {
    // As on a device, new memory has arbitrary contents.
    void* at = ::operator new (bytes, std::align_val_t{256});
    std::memset(at, 0x5A, bytes);
    return at;
  }
  void Release(void* at) noexcept override { ::operator delete (at, std::align_val_t{256}); }
  void* AllocatePinned(std::size_t bytes) override { return HostDriver::Allocate(bytes); }
  void ReleasePinned(void* at) noexcept override { HostDriver::Release(at); }
  void CopyIn(void* to, const void* from, std::size_t bytes) override { std::memcpy(to, from, bytes); }
  void CopyOut(void* to, const void* from, std::size_t bytes) override { std::memcpy(to, from, bytes); }

  void Run(const Launch& launch) override {
    if (launch.shared_bytes > resident_bytes_) throw LaunchRefused("stepping resident beds: too much shared memory");
    WithMode(launch.mode, [&](auto mode) { RunAs<decltype(mode)>(launch); });
  }
  void Measure(const Launch& launch) override {
    for (std::uint32_t k = 0; k < launch.n_batches; ++k) {
      const StepBatch& batch = launch.data.batches[k];
      if (!WasProbed(launch.data, batch)) continue;
      WithIndex(launch, [&](auto index) { MeasureAs<decltype(index)>(launch.data, batch); });
    }
  }
  void Mark(int) override {}
  void WaitFor(int) override {}
  void Wait() override {}
  std::uint32_t max_blocks() const override { return teams_.blocks(); }
  std::size_t resident_bytes() const override { return resident_bytes_; }

 private:
  struct alignas(16) Piece {
    unsigned char bytes[16];
  };

  // Calls use() with an entry of the lists of a launch.
  template <class Use>
  static void WithIndex(const Launch& launch, const Use& use) {
    if (launch.resident) {
      use(ResidentIndex());
    } else {
      launch.wide ? use(WideIndex()) : use(StreamedIndex());
    }
  }
  template <class Mode>
  void RunAs(const Launch& launch) {
    for (std::uint32_t k = 0; k < launch.n_batches; ++k) {
      const StepBatch& batch = launch.data.batches[k];
      if (launch.data.statuses[batch.bed].stop != Stop::kNone) continue;
      WithIndex(launch, [&](auto index) { RunOne<Mode, decltype(index)>(launch, batch); });
    }
  }
  template <class Mode, class Index>
  void RunOne(const Launch& launch, const StepBatch& batch) {
    constexpr bool kResident = std::is_same_v<Index, ResidentIndex>;
    const LaunchData& data = launch.data;
    const BedPlan& plan = data.plans[batch.bed];
    std::vector<Piece> shared((launch.shared_bytes + sizeof(Piece) - 1) / sizeof(Piece));
    if (!shared.empty()) std::memset(shared.data(), 0x5A, shared.size() * sizeof(Piece));
    const ResidentArrays arrays(reinterpret_cast<unsigned char*>(shared.data()), plan.stride,
                                static_cast<std::uint32_t>(plan.grid.count()));
    if (kResident && arrays.bytes > launch.shared_bytes) throw std::logic_error("a bed lies over its shared memory");
    teams_.Together([&](auto& team) {
      BedStatus status = data.statuses[batch.bed];
      BedView<Index> bed(plan);
      if constexpr (kResident) arrays.Enter(team, status, bed);
      Probe probe;
      StepBed<Mode>(team, bed, data, batch, status, probe);
      if constexpr (kResident) arrays.Leave(team, status, bed);
      StoreResults(team, data, batch, status, probe);
    });
  }
  template <class Index>
  void MeasureAs(const LaunchData& data, const StepBatch& batch) {
    const BedPlan& plan = data.plans[batch.bed];
    std::vector<MeasureBlock> blocks(teams_.blocks());
    teams_.Together([&](auto& team) { MeasureBatch<Index>(team, blocks[team.block()], data, batch, plan); });
  }

  const std::size_t resident_bytes_;
  const Teams teams_;
};

}  // namespace gyrebox::kernels::cuda
