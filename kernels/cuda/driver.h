/// What the CUDA module offers to the rest of the program. The module is a library of its own, opened at run time; all
/// device code lives in it, and it knows beds only as bed_data.h describes them.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <stdexcept>
#include <string>

#include "cuda/bed_data.h"
#include "cuda/measured.h"

namespace gyrebox::kernels::cuda {

/// Changes with every change of what host and module share.
inline constexpr int kDriverVersion = 8;

/// How a kernel is compiled; see Mode in modes.h.
enum class ModeName : std::int32_t {
  kLagged,                   ///< exponential force, no noise
  kLaggedFirstOrder,         ///< the same, where no bed takes steps of second order
  kLaggedThermal,            ///< exponential force
  kLaggedThermalFirstOrder,  ///< the same, where no bed takes steps of second order
  kLaggedAnyForce,           ///< thermal
  kBrownian,
  kConverged,
};

/// What a launch reads and writes, all in device memory.
struct LaunchData {
  const BedPlan* plans = nullptr;
  BedStatus* statuses = nullptr;
  const StepRequest* requests = nullptr;
  const StepSettings* settings = nullptr;
  StepNumbers* numbers = nullptr;  ///< as many as requests, for the device to fill in
  const OwnDriveNumbers* own_numbers = nullptr;
  const Leg* legs = nullptr;
  Photograph* photographs = nullptr;  ///< by slot
  MeasuredSums* measured = nullptr;   ///< by slot
};

/// Beds stepped by one launch: all of one kind.
struct Launch {
  LaunchData data;
  std::uint32_t n_legs = 0;
  bool resident = false, wide = false;  ///< see IsResident() and BedPlan::wide
  ModeName mode = ModeName::kLagged;
  std::uint32_t most_beads = 0;  ///< of any of its beds, rounded up to tiles
  std::size_t shared_bytes = 0;  ///< of shared memory that any of its resident beds takes at most
};

struct DeviceFacts {
  std::string name;
  int multiprocessors = 0;
  int major = 0, minor = 0;  ///< compute capability
  std::int64_t total_bytes = 0, free_bytes = 0;
};

/// The device does not take a launch as it was asked for, and is none the worse for it.
class LaunchRefused : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// One device and its queue of work. Work is done in the order it is given; Wait() waits for all of it. Used by one
/// thread at a time. Throws std::bad_alloc where memory does not suffice, LaunchRefused, and DeviceLost where the
/// device can no longer be used by this process.
class Driver {
 public:
  virtual ~Driver() = default;
  virtual DeviceFacts facts() const = 0;

  virtual void* Allocate(std::size_t bytes) = 0;
  virtual void Release(void* at) noexcept = 0;
  /// Memory of the host that copies need not wait for.
  virtual void* AllocatePinned(std::size_t bytes) = 0;
  virtual void ReleasePinned(void* at) noexcept = 0;
  virtual void CopyIn(void* to, const void* from, std::size_t bytes) = 0;
  virtual void CopyOut(void* to, const void* from, std::size_t bytes) = 0;

  /// Steps the beds of a launch through their legs.
  virtual void Run(const Launch& launch) = 0;
  /// Measures those beds of a launch that were photographed.
  virtual void Measure(const Launch& launch) = 0;
  /// Remembers this place in the queue as `which`, 0 or 1.
  virtual void Mark(int which) = 0;
  /// Waits for all work up to a mark.
  virtual void WaitFor(int which) = 0;
  /// Waits for all work.
  virtual void Wait() = 0;

  /// Blocks that the largest team of a bed can have.
  virtual std::uint32_t most_blocks() const = 0;
  /// Bytes of shared memory that a resident bed may take on this device, as it says itself.
  virtual std::size_t resident_bytes() const = 0;
};

/// Entry points of the module, extern "C".
using VersionFunction = int (*)();
/// @return a driver, or null and the reason in `reason`.
using OpenFunction = Driver* (*)(int index, char* reason, std::size_t reason_bytes);
inline constexpr const char* kVersionSymbol = "gyrebox_cuda_version";
inline constexpr const char* kOpenSymbol = "gyrebox_cuda_open";

}  // namespace gyrebox::kernels::cuda
