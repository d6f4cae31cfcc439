/// What host and device share of a bed: plain numbers and device addresses. The host fills these in, the device reads
/// them; nothing here owns memory.
#pragma once

#include <cstdint>

#include "gyrebox/run_spec.h"
#include "model/own_drive.h"
#include "model/step_laws.h"
#include "model/two_steps.h"
#include "neighbors/cells.h"

namespace gyrebox::kernels::cuda {

/// Rows of lists begin at a multiple of this many beads, and sums are over tiles of as many.
inline constexpr std::uint32_t kTile = 32;

/// Beds of up to this many beads are stepped in the shared memory of one multiprocessor, where they fit.
inline constexpr std::int64_t kResidentBeads = 3072;

inline constexpr std::uint32_t kSpinnerBit = 0x80000000u;

/// Place of a bead and its motion in the step that led there; a partner reads it in one access.
struct alignas(16) PlaceMotion {
  std::uint32_t x, y;  ///< fixed point
  float vx, vy;        ///< sigma/tau
};
struct alignas(8) Pair32 {
  std::uint32_t x, y;
};
struct alignas(8) Remainder {
  float x, y;  ///< quanta
};
/// Times that a path has gone round, counted at the last rebuild.
struct alignas(4) Turns {
  std::int16_t x, y;
};
/// The drive of spinners that differ: each has numbers and phases of its own. Arrays are by spinner.
struct OwnDrive {
  std::uint32_t* spinner_of_id = nullptr;  ///< (beads) place of a bead among the spinners
  SpinnerNumbers* numbers = nullptr;
  Phases* phases = nullptr;
  std::uint32_t* turns = nullptr;
};

/// Arrays of a bed, in memory order unless it says otherwise. Doubled ones hold two halves of `stride` elements, one to
/// read and one to write in turn.
struct BedMemory {
  PlaceMotion* beads = nullptr;    ///< doubled
  float* spin = nullptr;           ///< doubled; rad/tau: of the last step, or imposed for the coming one
  std::uint32_t* angle = nullptr;  ///< doubled; fraction of a turn
  Remainder* remainder = nullptr;  ///< doubled
  std::uint32_t* tag = nullptr;    ///< bead number, kSpinnerBit set for a spinner
  Pair32* built = nullptr;         ///< places when the lists were made
  Pair32* start = nullptr;         ///< places at step 0
  Turns* turns = nullptr;
  float* motion = nullptr;                ///< (3 * stride) of the last substep, as x, y, spin, where `beads` and
                                          ///< `spin` hold what is expected of the next (CarriesSweeps()); else null
  ThermalMotion* thermal = nullptr;       ///< (2 * stride) there too: what noise made of the motion; else null
  std::uint16_t* counts = nullptr;        ///< partners of each bead
  void* list = nullptr;                   ///< partners of the beads, see PlaceInList() and BedView.
                                          ///< Rebuilds use it as scratch: at least 32 bytes a bead
  std::uint32_t* cell_start = nullptr;    ///< (cells + 1)
  std::uint32_t* cell_fill = nullptr;     ///< (cells)
  std::uint32_t* block_totals = nullptr;  ///< (blocks of the largest team)
  double* partials = nullptr;             ///< (3 * sum levels) see Team::Sum
  // Converged dynamics only.
  PlaceMotion* work = nullptr;  ///< (2 * stride) places, and motions that the solver makes
  float* work_spin = nullptr;   ///< (2 * stride)
  float* known = nullptr;       ///< (3 * stride) all forces but friction: x of all, y of all, torque of all
  float* random = nullptr;      ///< (3 * stride) thermal forces among them
  void* measure = nullptr;      ///< see MeasureMemory
  OwnDrive own;                 ///< null until a drive differs between spinners
};

/// All that stays the same through a run, and where its memory is.
struct BedPlan {
  std::uint32_t n = 0, stride = 0;  ///< beads; the same, rounded up to tiles
  std::uint32_t n_spinners = 0;
  std::uint32_t capacity = 0;  ///< rows of the list
  bool wide = false;           ///< lists are of WideIndex
  CellGrid grid{1, 1, 1};
  double side_x = 0, side_y = 0;
  StepLaws<float> laws;  ///< friction, noise as they are at the start; StepNumbers go over them
  DynamicsSpec dynamics;
  bool rate_imposed = false;
  float reach_squared = 0, half_skin_squared = 0;  ///< sigma^2
  float closest_squared = 0;                       ///< health limit, sigma^2
  std::uint64_t noise_seed = 0, disorder_seed = 0;
  double drive_scale = 1;  ///< from the quantity imposed to what `spin` or a torque holds
  ForceSpec force;
  DragSpec drag;
  double bond_length = 0;
  BedMemory memory;
};

/// Settings of a drive in which spinners differ.
struct OwnDriveNumbers {
  WaveSpec wave;
  DisorderSpec disorder;
};

/// What substeps have in common until a setting changes.
struct StepSettings {
  double time = 0;              ///< length of the substep, tau
  double drive_ahead = 0;       ///< from its beginning to the moment whose drive it takes, tau
  std::int32_t own_drive = -1;  ///< place among the OwnDriveNumbers, or -1 where spinners have no phases of their own
  bool differ = false;          ///< spinners follow their own phases, rather than all `drive`
  bool thermal = false;
  float weight = 0;                                        ///< of the last change of the motion, see model/two_steps.h
  float largest_move_squared = 0;                          ///< health limit, sigma^2
  float tangential = 0, normal = 0;                        ///< friction
  float along = 0, across = 0, velocity = 0, turning = 0;  ///< amplitudes of noise
};
/// What the host says of one substep.
struct StepRequest {
  std::uint64_t moment = 0;    ///< names its random numbers
  float drive = 0;             ///< on every spinner in the substep, scaled
  std::uint32_t settings = 0;  ///< place among the StepSettings
};
/// All that a substep goes by; put together on the device.
struct StepNumbers : StepSettings {
  StepKeys keys;
  float drive = 0;
};

/// What a launch does with a bed.
struct Leg {
  std::uint32_t bed = 0;
  std::uint32_t first_number = 0;  ///< place of its first StepRequest; there is one more than substeps
  std::uint32_t substeps = 0;
  bool prepare = false;     ///< make the lists first
  bool photograph = false;  ///< then work out the motion from there without following it, and judge it
  std::int32_t slot = -1;   ///< where its measurement goes
  bool whole = false;       ///< measure the columns of structure too
};

/// Why a bed takes no more steps until the host has looked at it.
enum class Stop : std::int32_t { kNone, kUnsound, kNotConverged, kListFull };

/// Where a bed stands. Written by the device at the end of a leg.
struct BedStatus {
  std::uint32_t half = 0;  ///< of the doubled arrays: which one holds the present
  bool lists_valid = false;
  Stop stop = Stop::kNone;
  std::uint64_t taken = 0;          ///< substeps in all
  std::uint32_t most_partners = 0;  ///< met by the last list
  float closest_squared = 1e30f;    ///< of the substep last worked out, sigma^2
  float largest_move_squared = 0;   ///< sigma^2
  double residual = 0;              ///< of the friction system, at the last photograph
  std::uint32_t iterations = 0;     ///< of the solver, in all
  std::uint64_t rebuilds = 0;
};

/// What a photograph found; not taken where the bed stopped before.
struct Photograph {
  bool taken = false;
  double closest_squared = 0, largest_move_squared = 0, residual = 0;
};

}  // namespace gyrebox::kernels::cuda
