/// A driver without a device.
#pragma once

#include <cstring>
#include <new>

#include "cuda/driver.h"
#include "cuda/lone_team.h"
#include "cuda/measure.h"
#include "cuda/run_leg.h"

namespace gyrebox::kernels::cuda {

/// A device in the memory of the host: every launch is done at once, bed by bed, by a team of one.
class LoneDriver : public Driver {
 public:
  DeviceFacts facts() const override {
    return {"host threads standing in for a device", 1, 0, 0, std::int64_t{1} << 33, std::int64_t{1} << 33};
  }
  void* Allocate(std::size_t bytes) override {
    // As on a device, what is in new memory is anything.
    void* at = ::operator new (bytes, std::align_val_t{256});
    std::memset(at, 0x5A, bytes);
    return at;
  }
  void Release(void* at) noexcept override { ::operator delete (at, std::align_val_t{256}); }
  void* AllocatePinned(std::size_t bytes) override { return LoneDriver::Allocate(bytes); }
  void ReleasePinned(void* at) noexcept override { LoneDriver::Release(at); }
  void CopyIn(void* to, const void* from, std::size_t bytes) override { std::memcpy(to, from, bytes); }
  void CopyOut(void* to, const void* from, std::size_t bytes) override { std::memcpy(to, from, bytes); }

  void Run(const Launch& launch) override {
    switch (launch.mode) {
      case ModeName::kLagged:
        return RunAs<Mode<DynamicsSpec::Equation::kLagged, false, true>>(launch);
      case ModeName::kLaggedThermal:
        return RunAs<Mode<DynamicsSpec::Equation::kLagged, true, true>>(launch);
      case ModeName::kLaggedAnyForce:
        return RunAs<Mode<DynamicsSpec::Equation::kLagged, true, false>>(launch);
      case ModeName::kBrownian:
        return RunAs<Mode<DynamicsSpec::Equation::kBrownian, true, false>>(launch);
      case ModeName::kConverged:
        return RunAs<Mode<DynamicsSpec::Equation::kConverged, true, false>>(launch);
    }
  }
  void Measure(const Launch& launch) override {
    for (std::uint32_t k = 0; k < launch.n_legs; ++k) {
      const Leg& leg = launch.data.legs[k];
      if (leg.slot < 0 || !launch.data.photographs[leg.slot].taken) continue;
      if (launch.resident) {
        MeasureAs<ResidentIndex>(launch.data, leg);
      } else {
        launch.wide ? MeasureAs<WideIndex>(launch.data, leg) : MeasureAs<StreamedIndex>(launch.data, leg);
      }
    }
  }
  void Mark(int) override {}
  void WaitFor(int) override {}
  void Wait() override {}
  std::uint32_t most_blocks() const override { return 1; }

 private:
  template <class Mode>
  void RunAs(const Launch& launch) {
    for (std::uint32_t k = 0; k < launch.n_legs; ++k) {
      const Leg& leg = launch.data.legs[k];
      if (launch.data.statuses[leg.bed].stop != Stop::kNone) continue;
      if (launch.resident) {
        RunOne<Mode, ResidentIndex>(launch.data, leg);
      } else {
        launch.wide ? RunOne<Mode, WideIndex>(launch.data, leg) : RunOne<Mode, StreamedIndex>(launch.data, leg);
      }
    }
  }
  template <class Mode, class Index>
  void RunOne(const LaunchData& data, const Leg& leg) {
    LoneTeam team;
    BedView<Index> bed(data.plans[leg.bed]);
    Photograph photograph;
    PutTogether(team, data.plans[leg.bed], leg.substeps, data.requests + leg.first_number, data.settings,
                data.numbers + leg.first_number);
    LegRunner<Mode, LoneTeam, Index> runner(team, bed, data.numbers + leg.first_number, data.own_numbers);
    runner.Run(leg, data.statuses[leg.bed], photograph);
    if (leg.slot >= 0) data.photographs[leg.slot] = photograph;
  }
  template <class Index>
  void MeasureAs(const LaunchData& data, const Leg& leg) {
    LoneTeam team;
    const BedPlan& plan = data.plans[leg.bed];
    BedView<Index> bed(plan);
    bed.half = data.statuses[leg.bed].half;
    MeasureMemory memory = MeasureMemoryIn(bed);
    MeasureBlock block;
    memory.block = &block;
    MeasureBed(team, bed, data.numbers[leg.first_number + leg.substeps], data.own_numbers, leg.whole, memory,
               data.measured[leg.slot]);
  }
};

}  // namespace gyrebox::kernels::cuda
