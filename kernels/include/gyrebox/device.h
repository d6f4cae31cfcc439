/// The machine part that beds run on.
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

/// The device has failed in a way after which this process cannot use it any more.
class DeviceLost : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// The part of NewEnsemble() that takes long for large beds, seconds for a million beads: where the beads are at time
/// 0. Touches no device: may be called on any thread, whatever the device does.
/// @param give_up looked at every few milliseconds; once it is set, what is returned is of no use.
/// @return for StartSpec::laid_out of each spec. Throws std::bad_alloc.
std::vector<std::shared_ptr<const StartState>> LayOutAhead(std::span<const RunSpec> specs,
                                                           const std::atomic<bool>& give_up);

/// A device that runs ensembles. It and all its ensembles are used by one thread at a time.
class Device {
 public:
  virtual ~Device() = default;
  virtual std::string name() const = 0;         ///< "cpu" or "cuda:0"
  virtual std::string description() const = 0;  ///< for people: model, threads, instruction set
  virtual int thread_count() const = 0;
  virtual std::int64_t memory_bytes() const = 0;  ///< that beds may use
  /// Bytes of this device's memory that a run needs while it runs.
  virtual std::int64_t BytesOf(const RunSpec& spec) const = 0;

  /// Lays out the beds of all runs. Throws std::invalid_argument where Validate() finds a fault, and std::bad_alloc;
  /// a single bed whose start cannot be reached does not throw: its run ends with a fault in the first chunk.
  virtual std::unique_ptr<Ensemble> NewEnsemble(std::span<const RunSpec> specs) = 0;
};

struct OpenedDevice {
  std::unique_ptr<Device> device;  ///< null where the device asked for is not there
  std::string reason;              ///< why this device, or why none
};

/// Opens a device by name: "auto" (CUDA where there is one, else the CPU), "cpu", "cuda", "cuda:N".
/// @param threads CPU threads to use; 0 means all of the machine's. Results do not depend on it by a bit.
OpenedDevice OpenDevice(const std::string& name, int threads = 0);

}  // namespace gyrebox::kernels
