/// One run on a device: its course, its memory there, and its state to and from it.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "cuda/device_memory.h"
#include "dynamics/course.h"
#include "dynamics/spinner_drive.h"
#include "measure/observables.h"
#include "start/start.h"

namespace gyrebox::kernels::cuda {

/// Whether a bed is stepped in shared memory: a function of the bed and of the device's shared memory.
bool IsResident(const RunSpec& spec, const Driver& driver);
/// Bytes of device memory of a bed with lists of the first capacity, and of its share of an ensemble's tables.
std::int64_t BytesOf(const RunSpec& spec, const Driver& driver);
/// What a photograph's columns need to know of the moment that it was taken at.
struct Moment {
  std::int64_t step = 0;
  double time = 0, temperature = 0;
  bool whole = false;
};

class DeviceBed {
 public:
  /// @param start of a bed that failed to start takes no memory.
  DeviceBed(Driver& driver, const RunSpec& spec, const StartState& start);

  Course& course() { return course_; }
  const Course& course() const { return course_; }
  const std::vector<Column>& columns() const { return observables_.columns(); }
  bool resident() const { return resident_; }
  /// Of shared memory, where it is resident.
  std::size_t shared_bytes() const;
  /// False of a bed that failed to start.
  bool laid_out() const { return memory_ != nullptr; }

  const BedPlan& plan() const { return plan_; }
  BedStatus& status() { return status_; }
  const BedStatus& status() const { return status_; }

  /// What is planned of some substeps; places are counted from the beginning of these vectors.
  struct Settings {
    std::vector<StepSettings> steps;
    std::vector<OwnDriveNumbers> own_drives;
  };
  /// Writes the requests of the coming `n` substeps and of the one after, and goes past the former.
  void PlanSubsteps(std::uint32_t n, StepRequest* requests, Settings& settings);
  Moment moment() const;
  /// Whether spinners are, or may soon be, driven differently.
  bool may_differ() const;
  /// Step of the last sample that was planned; -1 before the first. A rewind goes back to the last that was taken.
  std::int64_t sampled_at() const { return sampled_at_; }
  void set_sampled_at(std::int64_t step) { sampled_at_ = step; }
  void samples_stand(std::int64_t up_to_step) { samples_stand_ = up_to_step; }

  /// A place in the past to go back to.
  struct Position {
    std::int64_t step = 0, substep = 0;
    Phases phases;
    std::uint64_t planned = 0;
    bool has_past = false;
  };
  Position position() const { return {course_.step(), course_.substep(), phases_, planned_, course_.has_past()}; }
  /// Back to a position, and from there as far as the device has come.
  void RewindTo(const Position& position);

  /// Sets the fault of a bed that the device stopped.
  void DescribeFault();
  /// Takes larger lists: for at least `partners` a bead, or for ways of any length where that is kTooFar.
  void GrowLists(std::uint32_t partners);

  BedState Save();
  /// Lays the state out in memory in the order of bead numbers, at the places where its lists were made. The lists are
  /// then to be made, and FinishLoad() puts the beads where they belong.
  void BeginLoad(const BedState& state);
  void FinishLoad(const BedState& state);
  std::vector<Bead> Beads();

 private:
  // Arrays of a bed by slot, on the host.
  struct Slots {
    std::vector<PlaceMotion> beads;
    std::vector<float> spin;
    std::vector<std::uint32_t> angle, tag;
    std::vector<Remainder> remainder;
    std::vector<float> motion_x, motion_y, motion_spin;  // empty where there are none apart from the beads'
    std::vector<ThermalMotion> thermal;                  // there too
    std::vector<Pair32> built, start;
    std::vector<Turns> turns;
  };

  void LayOut(const StartState& start);
  void TakeLists(std::uint32_t capacity);
  void Upload(const Slots& slots);
  Slots Fetch();
  template <class T>
  std::vector<T> FetchArray(const T* from);
  template <class T>
  void SendArray(const std::vector<T>& from, T* to);
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
  std::uint64_t planned_ = 0;  // substeps in all; status().taken says how many of them were taken
  // Substeps planned when spinners were first driven by phases of their own; none while they have none. Their memory
  // stays once it is taken: plans on the device point there.
  std::optional<std::uint64_t> own_since_;
  std::int64_t sampled_at_ = -1, samples_stand_ = -1;
};

}  // namespace gyrebox::kernels::cuda
