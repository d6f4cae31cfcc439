/// Interface of the CUDA module to the rest of the program. The module is a separate library, opened at run time. It
/// contains all device code, and knows beds only as bed_data.h describes them.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <stdexcept>
#include <string>

#include "cuda/bed_data.h"
#include "cuda/measured.h"

namespace gyrebox::kernels::cuda {

/// To be incremented whenever the interface of host and module changes.
inline constexpr int kDriverVersion = 9;

/// Arrays that a launch reads and writes, all in device memory.
struct LaunchData {
  const BedPlan* plans = nullptr;
  BedStatus* statuses = nullptr;
  const StepRequest* requests = nullptr;
  const StepSettings* settings = nullptr;
  StepNumbers* numbers = nullptr;  ///< as many as requests; filled in by the device
  const PerSpinnerDriveNumbers* own_numbers = nullptr;
  const StepBatch* batches = nullptr;
  Probe* probes = nullptr;           ///< by slot
  MeasuredSums* measured = nullptr;  ///< by slot
};

/// Beds stepped by one launch: all of one kind.
struct Launch {
  LaunchData data;
  std::uint32_t n_batches = 0;
  bool resident = false, wide = false;  ///< see IsResident() and BedPlan::wide
  std::int32_t mode = 0;                ///< index in kModes, see modes.h
  std::uint32_t max_beads = 0;          ///< of the largest of its beds, rounded up to tiles
  std::size_t shared_bytes = 0;         ///< max shared memory of any of its resident beds
};

struct DeviceFacts {
  std::string name;
  int multiprocessors = 0;
  int major = 0, minor = 0;  ///< compute capability
  std::int64_t total_bytes = 0, free_bytes = 0;
};

/// The device rejects a launch, but remains usable.
class LaunchRefused : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// One device and its work queue. Work runs in the order in which it is submitted; Wait() waits for all of it. Used by
/// one thread at a time. Throws std::bad_alloc if memory does not suffice, LaunchRefused, and DeviceLost if this
/// process can no longer use the device.
class Driver {
 public:
  virtual ~Driver() = default;
  virtual DeviceFacts facts() const = 0;

  virtual void* Allocate(std::size_t bytes) = 0;
  virtual void Release(void* at) noexcept = 0;
  /// Pinned host memory, which allows asynchronous copies.
  virtual void* AllocatePinned(std::size_t bytes) = 0;
  virtual void ReleasePinned(void* at) noexcept = 0;
  virtual void CopyIn(void* to, const void* from, std::size_t bytes) = 0;
  virtual void CopyOut(void* to, const void* from, std::size_t bytes) = 0;

  /// Steps the beds of a launch through their batches.
  virtual void Run(const Launch& launch) = 0;
  /// Measures the probed beds of a launch.
  virtual void Measure(const Launch& launch) = 0;
  /// Records this point of the queue as mark `which`, 0 or 1.
  virtual void Mark(int which) = 0;
  /// Waits for all work up to a mark.
  virtual void WaitFor(int which) = 0;
  /// Waits for all work.
  virtual void Wait() = 0;

  /// Max number of blocks of a bed's team.
  virtual std::uint32_t max_blocks() const = 0;
  /// Max bytes of shared memory of a resident bed, as the device reports them.
  virtual std::size_t resident_bytes() const = 0;
};

/// Entry points of the module, extern "C".
using VersionFunction = int (*)();
/// @return a driver, or null and the reason in `reason`.
using OpenFunction = Driver* (*)(int index, char* reason, std::size_t reason_bytes);
inline constexpr const char* kVersionSymbol = "gyrebox_cuda_version";
inline constexpr const char* kOpenSymbol = "gyrebox_cuda_open";

}  // namespace gyrebox::kernels::cuda
