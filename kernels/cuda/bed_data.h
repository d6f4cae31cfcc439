/// Data of a bed that host and device share: plain numbers and device addresses. The host fills them in and the device
/// reads them; nothing here owns memory.
#pragma once

#include <cstdint>

#include "gyrebox/run_spec.h"
#include "model/per_spinner_drive.h"
#include "model/step_laws.h"
#include "model/two_steps.h"
#include "neighbors/cells.h"

namespace gyrebox::kernels::cuda {

/// Rows of lists start at multiples of this many beads, and sums run over tiles of this size.
inline constexpr std::uint32_t kTile = 32;

/// Beds of up to this many beads are stepped in the shared memory of one multiprocessor, if they fit.
inline constexpr std::int64_t kResidentBeads = 3072;

inline constexpr std::uint32_t kSpinnerBit = 0x80000000u;

/// Position of a bead and its motion in the step that led there; a partner reads both in one access.
struct alignas(16) PositionVelocity {
  std::uint32_t x, y;  ///< fixed point
  float vx, vy;        ///< sigma/tau
};
struct alignas(8) Pair32 {
  std::uint32_t x, y;
};
struct alignas(8) Remainder {
  float x, y;  ///< quanta
};
/// Periodic image of a path: its number of windings along each axis at the last rebuild.
struct alignas(4) ImageCounts {
  std::int16_t x, y;
};
/// Per-spinner drive: each spinner has its own random numbers and phases. Arrays are indexed by spinner.
struct PerSpinnerDrive {
  std::uint32_t* spinner_of_id = nullptr;  ///< (beads) index of a bead among the spinners
  SpinnerNumbers* numbers = nullptr;
  Phases* phases = nullptr;
  std::uint32_t* turns = nullptr;
};

/// Arrays of a bed, in memory order unless stated otherwise. Doubled ones hold two halves of `stride` elements, which
/// alternate between reading and writing.
struct BedMemory {
  PositionVelocity* beads = nullptr;  ///< doubled
  float* spin = nullptr;              ///< doubled; rad/tau: of the last step, or imposed for the coming one
  std::uint32_t* angle = nullptr;     ///< doubled; fraction of a turn
  Remainder* remainder = nullptr;     ///< doubled
  std::uint32_t* tag = nullptr;       ///< bead id, kSpinnerBit set for a spinner
  Pair32* built = nullptr;            ///< positions at the last list build
  Pair32* start = nullptr;            ///< positions at step 0
  ImageCounts* turns = nullptr;
  float* motion = nullptr;  ///< (3 * stride) of the last substep, as x, y, spin, if `beads` and `spin` hold the motion
                            ///< expected in the next one (CarriesSweeps()); else null
  ThermalMotion* thermal = nullptr;  ///< (2 * stride) likewise: thermal part of the motion; else null
  std::uint16_t* counts = nullptr;   ///< number of partners of each bead
  void* list = nullptr;  ///< partners of the beads, see OffsetInList() and BedView. Rebuilds use it as scratch: at
                         ///< least 32 bytes per bead
  std::uint32_t* cell_start = nullptr;    ///< (cells + 1)
  std::uint32_t* cell_fill = nullptr;     ///< (cells)
  std::uint32_t* block_totals = nullptr;  ///< (blocks of the largest team)
  double* partials = nullptr;             ///< (kMaxSums * SumNumbers(n)) see Team::Sum
  // Converged dynamics only.
  PositionVelocity* work = nullptr;  ///< (2 * stride) positions, and motions that the solver computes
  float* work_spin = nullptr;        ///< (2 * stride)
  float* known = nullptr;            ///< (3 * stride) all forces except friction: x of all, y of all, torque of all
  float* random = nullptr;           ///< (3 * stride) thermal forces, which `known` includes
  void* measure = nullptr;           ///< see MeasureMemory
  PerSpinnerDrive own;               ///< null until drives differ between spinners
};

/// Constants of a run, and the addresses of its memory.
struct BedPlan {
  std::uint32_t n = 0, stride = 0;  ///< beads; the same, rounded up to tiles
  std::uint32_t n_spinners = 0;
  std::uint32_t capacity = 0;  ///< max partners per bead
  bool wide = false;           ///< lists hold WideIndex
  CellGrid grid{1, 1, 1};
  double side_x = 0, side_y = 0;
  StepLaws<float> laws;  ///< friction is the initial one, noise is unset; StepNumbers override both
  DynamicsSpec dynamics;
  bool rate_imposed = false;
  float reach_squared = 0, half_skin_squared = 0;  ///< sigma^2
  float closest_squared = 0;                       ///< health limit, sigma^2
  std::uint64_t noise_seed = 0, disorder_seed = 0;
  double drive_scale = 1;  ///< factor from the imposed quantity to the value in `spin` or a torque
  ForceSpec force;
  DragSpec drag;
  double bond_length = 0;
  BedMemory memory;
};

/// Settings of a per-spinner drive.
struct PerSpinnerDriveNumbers {
  WaveSpec wave;
  DisorderSpec disorder;
};

/// Settings that substeps share until one changes.
struct StepSettings {
  double time = 0;         ///< length of the substep, tau
  double drive_ahead = 0;  ///< time from its start to the evaluation of the drive, tau
  std::int32_t per_spinner_drive =
      -1;               ///< index among the PerSpinnerDriveNumbers, or -1 if spinners have no phases of their own
  bool differ = false;  ///< spinners follow their own phases instead of `drive`
  bool thermal = false;
  float weight = 0;                                        ///< of the last change of motion, see model/two_steps.h
  float largest_move_squared = 0;                          ///< health limit, sigma^2
  float tangential = 0, normal = 0;                        ///< friction
  float along = 0, across = 0, velocity = 0, turning = 0;  ///< amplitudes of noise
};
/// The host's request for one substep.
struct StepRequest {
  std::uint64_t moment = 0;    ///< selects its random numbers
  float drive = 0;             ///< on every spinner in the substep, scaled
  std::uint32_t settings = 0;  ///< index among the StepSettings
};
/// All numbers of a substep; assembled on the device.
struct StepNumbers : StepSettings {
  StepKeys keys;
  float drive = 0;
};

/// Work of a launch for one bed.
struct StepBatch {
  std::uint32_t bed = 0;
  std::uint32_t first_number = 0;  ///< index of its first StepRequest; there is one more than substeps
  std::uint32_t substeps = 0;
  bool prepare = false;    ///< build the lists first
  bool probe = false;      ///< afterwards compute the motion without moving the beads, and check it
  std::int32_t slot = -1;  ///< slot of its measurement
  bool whole = false;      ///< measure the columns of structure too
};

/// Why a bed takes no more steps until the host has handled it.
enum class Stop : std::int32_t { kNone, kUnsound, kNotConverged, kListFull };

/// Progress of a bed. Written by the device at the end of a batch.
struct BedStatus {
  std::uint32_t half = 0;  ///< current half of the doubled arrays
  bool lists_valid = false;
  Stop stop = Stop::kNone;
  std::uint64_t taken = 0;         ///< substeps in all
  std::uint32_t max_partners = 0;  ///< of any bead at the last list build
  float closest_squared = 1e30f;   ///< of the last computed substep, sigma^2
  float largest_move_squared = 0;  ///< sigma^2
  double residual = 0;             ///< of the friction system, in the last computed substep or probe
  std::uint32_t iterations = 0;    ///< of the solver, in all
  std::uint64_t rebuilds = 0;
};

/// Result of a probe; not taken if the bed stopped before.
struct Probe {
  bool taken = false;
  double closest_squared = 0, largest_move_squared = 0, residual = 0;
};

}  // namespace gyrebox::kernels::cuda
