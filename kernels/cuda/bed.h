/// One run on a device: its course, its device memory, and the transfer of its state.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "cuda/bed_slots.h"
#include "cuda/device_memory.h"
#include "dynamics/course.h"
#include "dynamics/spinner_drive.h"
#include "measure/fault_search.h"
#include "measure/observables.h"
#include "start/start.h"

namespace gyrebox::kernels::cuda {

/// The square of a limit, rounded as the device compares it.
inline float LimitSquared(double limit) { return static_cast<float>(limit * limit); }

/// Time and settings of a probe that its columns need.
struct Moment {
  std::int64_t step = 0;
  double time = 0, temperature = 0;
  bool whole = false;
};

class DeviceBed {
 public:
  /// @param start if it records a failure, the bed allocates no memory.
  DeviceBed(Driver& driver, const RunSpec& spec, const StartState& start);

  Course& course() { return course_; }
  const Course& course() const { return course_; }
  const std::vector<Column>& columns() const { return observables_.columns(); }
  bool resident() const { return resident_; }
  /// Whether motions are stored separately, see BedMemory::motion.
  bool apart() const { return plan_.memory.motion != nullptr; }
  /// Bytes of shared memory, if resident.
  std::size_t shared_bytes() const;
  /// False for a bed that failed to start.
  bool has_memory() const { return memory_ != nullptr; }

  const BedPlan& plan() const { return plan_; }
  BedStatus& status() { return status_; }
  const BedStatus& status() const { return status_; }

  /// Planned settings of some substeps; indices refer to these vectors.
  struct Settings {
    std::vector<StepSettings> steps;
    std::vector<PerSpinnerDriveNumbers> own_drives;
  };
  /// Writes the requests of the next `n` substeps and of the one after, and advances by `n` substeps.
  void PlanSubsteps(std::uint32_t n, StepRequest* requests, Settings& settings);
  Moment moment() const;
  /// Whether spinners have, or may soon get, different drives.
  bool may_differ() const;
  /// Step of the last planned sample; -1 before the first. A rewind resets it to the last sample taken.
  std::int64_t sampled_at() const { return sampled_at_; }
  void set_sampled_at(std::int64_t step) { sampled_at_ = step; }
  void samples_stand(std::int64_t up_to_step) { samples_stand_ = up_to_step; }

  /// An earlier state to rewind to.
  struct Position {
    std::int64_t step = 0, substep = 0;
    Phases phases;
    std::uint64_t planned = 0;
    bool has_past = false;
  };
  Position position() const { return {course_.step(), course_.substep(), phases_, planned_, course_.has_past()}; }
  /// Goes back to a position, and from there forward to where the device has stopped.
  void RewindTo(const Position& position);

  /// Sets the fault of a bed that the device has stopped.
  void DescribeFault();
  /// Allocates larger lists: for at least `partners` per bead, or with entries for any distance if that is kTooFar.
  void GrowLists(std::uint32_t partners);

  BedState Save();
  /// Uploads a state in order of bead id, with the beads at the positions where its lists were built. The caller then
  /// rebuilds the lists, and FinishLoad() moves the beads to their current positions.
  void BeginLoad(const BedState& state);
  void FinishLoad(const BedState& state);
  std::vector<Bead> Beads();

 private:
  void TakeMemory();
  void TakeLists(std::uint32_t capacity);
  void Upload(const BedSlots& slots);
  FailedStep Failed();
  DriveState FetchDrive();
  void DifferFrom(const kernels::Settings& settings);
  void TakeOwnMemory();
  void SendOwnPhases(const std::vector<Phases>& phases, const std::vector<std::uint32_t>& turns);
  StepSettings NumbersOf(const kernels::Settings& settings) const;

  Driver& driver_;
  Course course_;
  Observables observables_;
  std::vector<std::uint32_t> spinners_;  // ids
  std::vector<Pair32> start_;            // (beads) by id
  std::unique_ptr<DeviceBlock> memory_, lists_, own_memory_;
  BedPlan plan_;
  BedStatus status_;
  bool resident_ = false;
  Phases phases_;
  std::uint64_t planned_ = 0;  // total substeps planned; status().taken counts those taken
  // Substeps planned when spinners first got phases of their own; none before. Their memory is kept once allocated:
  // plans on the device point to it.
  std::optional<std::uint64_t> own_since_;
  std::int64_t sampled_at_ = -1, samples_stand_ = -1;
};

}  // namespace gyrebox::kernels::cuda
