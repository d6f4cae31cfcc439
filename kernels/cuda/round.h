/// Tables of one round of launches, and its expected results.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "cuda/bed.h"
#include "cuda/device_memory.h"

namespace gyrebox::kernels::cuda {

struct Round {
  // A pending measurement.
  struct Pending {
    std::uint32_t bed = 0, slot = 0;
    Moment moment;
  };
  struct PlannedLaunch {
    Launch launch;  // all but its data
    std::size_t first_batch = 0;
    bool measure = false;  // any of its beds is probed
  };

  Round(Driver& driver, int which)
      : mark(which),
        requests(driver),
        settings(driver),
        own_drives(driver),
        batches(driver),
        probes(driver),
        measured(driver),
        statuses(driver) {}

  void Clear(std::size_t n_beds) {
    planned_requests.clear();
    planned.steps.clear();
    planned.own_drives.clear();
    planned_batches.clear();
    launches.clear();
    pending.clear();
    starts.assign(n_beds, std::nullopt);
  }

  const int mark;
  std::vector<StepRequest> planned_requests;
  DeviceBed::Settings planned;
  std::vector<StepBatch> planned_batches;
  std::vector<PlannedLaunch> launches;
  std::vector<Pending> pending;                            // by slot
  std::vector<std::optional<DeviceBed::Position>> starts;  // (beds) set for beds that take part

  SharedTable<StepRequest> requests;
  SharedTable<StepSettings> settings;
  SharedTable<PerSpinnerDriveNumbers> own_drives;
  std::unique_ptr<DeviceBlock> numbers;  // StepNumbers, for the largest number of requests so far
  std::size_t numbers_room = 0;
  SharedTable<StepBatch> batches;
  SharedTable<Probe> probes;
  SharedTable<MeasuredSums> measured;
  SharedTable<BedStatus> statuses;
};

}  // namespace gyrebox::kernels::cuda
