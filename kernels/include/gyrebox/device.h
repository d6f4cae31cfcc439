/// Compute devices that run beds.
#pragma once

#include <atomic>
#include <cstdint>
#include <memory>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "gyrebox/ensemble.h"
#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// The device has failed, and this process can no longer use it.
class DeviceLost : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// Generates the initial states: the slow part of NewEnsemble(), seconds for a million beads. Uses no device; may be
/// called on any thread, even while the device is busy.
/// @param give_up polled every few milliseconds; once it is set, the result is unusable.
/// @return initial states, one for StartSpec::initial of each spec. Throws std::bad_alloc.
std::vector<std::shared_ptr<const StartState>> GenerateInitialStates(std::span<const RunSpec> specs,
                                                                     const std::atomic<bool>& give_up);

/// A device that runs ensembles. The device and all its ensembles must be used by one thread at a time.
class Device {
 public:
  virtual ~Device() = default;
  virtual std::string name() const = 0;         ///< "cpu" or "cuda:0"
  virtual std::string description() const = 0;  ///< for users: model, threads, instruction set
  virtual int thread_count() const = 0;
  virtual std::int64_t memory_bytes() const = 0;  ///< available to beds
  /// Bytes of this device's memory that a live run occupies.
  virtual std::int64_t BytesOf(const RunSpec& spec) const = 0;

  /// Creates the beds of all runs. Throws std::invalid_argument if Validate() finds a fault, and std::bad_alloc. A bed
  /// whose start cannot be reached does not throw: its run ends with a fault in the first chunk.
  virtual std::unique_ptr<Ensemble> NewEnsemble(std::span<const RunSpec> specs) = 0;
};

struct OpenedDevice {
  std::unique_ptr<Device> device;  ///< null if the requested device is not available
  std::string reason;              ///< why this device, or why none
};

/// Opens a device by name: "auto" (CUDA where there is one, else the CPU), "cpu", "cuda", "cuda:N".
/// @param threads CPU threads to use; 0 means all of the machine's. Results are bitwise independent of it.
OpenedDevice OpenDevice(const std::string& name, int threads = 0);

}  // namespace gyrebox::kernels
