/// The passes over the beads of a bed for a time step of the lagged and the Brownian dynamics.
#pragma once

#include "cuda/bed_view.h"
#include "model/two_steps.h"

namespace gyrebox::kernels::cuda {

/// Per-spinner drive of one spinner, `ahead` tau from now; scaled like StepNumbers::drive.
GYREBOX_RARE float PerSpinnerDriveOf(const BedPlan& plan, const PerSpinnerDriveNumbers& numbers, double ahead,
                                     std::uint32_t id) {
  const PerSpinnerDrive& own = plan.memory.own;
  const std::uint32_t s = own.spinner_of_id[id];
  return static_cast<float>(plan.drive_scale * PerSpinnerDriveValue(numbers.wave, numbers.disorder, own.numbers[s],
                                                                    plan.disorder_seed, id, ahead, own.phases[s],
                                                                    own.turns[s]));
}

/// Drive of a spinner in this substep.
GYREBOX_PASS float DriveOf(const BedPlan& plan, const StepNumbers& numbers, const PerSpinnerDriveNumbers* own_numbers,
                           std::uint32_t tag) {
  return !numbers.differ
             ? numbers.drive
             : PerSpinnerDriveOf(plan, own_numbers[numbers.per_spinner_drive], numbers.drive_ahead, IdOf(tag));
}

/// Stores the spin that the drive imposes in the coming substep where passes read it. In Brownian dynamics a torque is
/// stored as a spin, and passive beads have none.
template <class Team, class Index>
GYREBOX_PASS void ImposeSpin(Team& team, BedView<Index>& bed, const StepNumbers& numbers,
                             const PerSpinnerDriveNumbers* own_numbers) {
  const bool brownian = bed.plan.dynamics.equation == DynamicsSpec::Equation::kBrownian;
  if (!brownian && !bed.plan.rate_imposed) return;
  float* spin = bed.Now(bed.spin);
  for (std::uint32_t i = team.rank(); i < bed.plan.n; i += team.size()) {
    if (IsSpinner(bed.tag[i])) {
      spin[i] = DriveOf(bed.plan, numbers, own_numbers, bed.tag[i]);
    } else if (brownian) {
      spin[i] = 0;
    }
  }
  team.Sync();
}

/// Advances the phases of per-spinner drives by a substep.
GYREBOX_RARE void AdvancePerSpinnerDrive(std::uint32_t rank, std::uint32_t size, const BedPlan& plan,
                                         const PerSpinnerDriveNumbers& numbers, double time) {
  const PerSpinnerDrive& own = plan.memory.own;
  for (std::uint32_t s = rank; s < plan.n_spinners; s += size) {
    AdvanceOwnPhases(numbers.wave, numbers.disorder, own.numbers[s].frequency_normal, time, own.phases[s],
                     own.turns[s]);
  }
}

/// Options of a move.
struct MoveOptions {
  bool follow = true;  ///< false: only compute the motion
  bool spin_is_given =
      false;  ///< if `follow`: store the drive of the next substep for spinners instead of their own spin
  float next_drive = 0;
};

/// Moves bead i by a motion, and writes it to the next half. @param own its position.
/// @param whole,smooth the motion with and without the thermal part of this substep; the bead stores the latter.
/// @param before `smooth` of the previous substep. @tparam carries whether the move may extrapolate; false for
/// first-order steps.
template <bool carries, class Index>
GYREBOX_PASS void MoveBead(BedView<Index>& bed, const StepLaws<float>& laws, const StepNumbers& numbers,
                           const MoveOptions& options, std::uint32_t i, PositionVelocity own, std::uint32_t tag,
                           const Motion<float>& whole, const Motion<float>& smooth, const Motion<float>& before,
                           HealthOfThread& health) {
  const float time = static_cast<float>(numbers.time);
  const Motion<float> motion = carries ? TwoStepMotion(numbers.weight, whole, smooth, before) : whole;
  const float move_x = motion.vx * time, move_y = motion.vy * time;
  const float move = Fma(move_x, move_x, move_y * move_y);
  health.move = move < 1e30f ? Max(health.move, move) : 1e30f;
  Motion<float> leaves = smooth;
  if (options.follow) {
    Remainder remainder = bed.Now(bed.remainder)[i];
    Advance(own.x, remainder.x, move_x, laws.axis_x.quanta_of_length);
    Advance(own.y, remainder.y, move_y, laws.axis_y.quanta_of_length);
    std::uint32_t angle = bed.Now(bed.angle)[i];
    Turn(angle, motion.spin * time);
    bed.Next(bed.remainder)[i] = remainder;
    bed.Next(bed.angle)[i] = angle;
    const Pair32 built = bed.plan.memory.built[i];
    const float drift_x = Difference(built.x, own.x, laws.axis_x.length_of_quantum);
    const float drift_y = Difference(built.y, own.y, laws.axis_y.length_of_quantum);
    health.drift = Max(health.drift, Fma(drift_x, drift_x, drift_y * drift_y));
    if (carries && bed.plan.memory.motion != nullptr) {
      Rows3(bed.plan.memory.motion, bed.plan.stride).Store(i, smooth);
      leaves = TwoStepMotion(2 * numbers.weight, smooth, smooth, before);
    }
    if (options.spin_is_given && IsSpinner(tag)) leaves.spin = options.next_drive;
  }
  own.vx = leaves.vx;
  own.vy = leaves.vy;
  bed.Next(bed.beads)[i] = own;
  bed.Next(bed.spin)[i] = leaves.spin;
}

/// Motion that balances a row, spin imposed or free.
GYREBOX_PASS Motion<float> Balanced(const BedPlan& plan, const BalanceRow<float>& row, std::uint32_t tag,
                                    float imposed_spin) {
  return plan.rate_imposed && IsSpinner(tag) ? row.SolveWithSpin(imposed_spin) : row.SolveFree();
}

/// Correction of the motion for a residual force, from the bead's own block: D^-1 r. Leaves an imposed spin unchanged.
GYREBOX_PASS Motion<float> Correction(const BedPlan& plan, BalanceRow<float> row, const Motion<float>& force,
                                      std::uint32_t tag) {
  row.fx = force.vx;
  row.fy = force.vy;
  row.torque = force.spin;
  return Balanced(plan, row, tag, 0);
}

template <class Mode, class Team, class Index>
GYREBOX_PASS void LaggedPass(Team& team, BedView<Index>& bed, const StepNumbers& numbers,
                             const PerSpinnerDriveNumbers* own_numbers, const MoveOptions& options,
                             HealthOfThread& health) {
  const PositionVelocity* now = bed.Now(bed.beads);
  const float* spin = bed.Now(bed.spin);
  const BedMemory& memory = bed.plan.memory;
  const bool carries = Mode::kMayCarry && memory.motion != nullptr;
  const ThermalMotion* thermals = carries ? bed.Now(memory.thermal) : nullptr;
  for (std::uint32_t i = team.rank(); i < bed.plan.n; i += team.size()) {
    // Reloaded for every bead: this costs few instructions, and keeping them would occupy twenty registers.
    StepLaws<float> laws = LawsOf(bed.plan, numbers);
    if constexpr (Mode::kExponential) laws.force.law = ForceSpec::Law::kExponential;
    const PositionVelocity own = now[i];
    const std::uint32_t tag = bed.tag[i];
    BalanceRow<float> row(laws.translational, laws.rotational), noise(0.0f, 0.0f);
    struct Fetched {
      float spin;
      std::uint32_t tag;
    };
    ForPartners(
        bed, laws, now, i, own,
        [&](std::uint32_t j) {
          return Fetched{spin[j], Mode::kThermal ? bed.tag[j] : 0};
        },
        [&](std::uint32_t j, const PositionVelocity& other, const PairGeometry<float>& pair, const Fetched& fetched) {
          health.closest = Min(health.closest, pair.squared);
          laws.AddCold(pair, {other.vx, other.vy, fetched.spin}, row);
          if constexpr (Mode::kThermal) {
            laws.AddPairNoise(numbers.keys, IdOf(tag), IdOf(fetched.tag), pair, noise);
            if (carries) {
              const ThermalMotion thermal = thermals[j];
              laws.AddFrictionPull(pair, {thermal.vx, thermal.vy, thermal.spin}, noise);
            }
          }
        });
    if constexpr (Mode::kThermal) laws.AddBeadNoise(numbers.keys, IdOf(tag), noise);
    if (!bed.plan.rate_imposed && IsSpinner(tag)) row.torque += DriveOf(bed.plan, numbers, own_numbers, tag);
    Motion<float> before = {own.vx, own.vy, spin[i]}, thermal = {0, 0, 0};
    const float spin_before = before.spin;
    if (carries) {
      if constexpr (Mode::kThermal) {
        // Without noise the thermal part is 0: turning the noise off discards the remainder at once.
        if (numbers.thermal) thermal = Correction(bed.plan, row, {noise.fx, noise.fy, noise.torque}, tag);
      }
      if (options.follow) bed.Next(memory.thermal)[i] = {thermal.vx, thermal.vy, thermal.spin};
      AddOwnFriction(laws.translational, laws.rotational, before, row);
      before = Rows3(memory.motion, bed.plan.stride).Load(i);
    } else {
      row.AddBeadForce(noise.fx, noise.fy, noise.torque);
    }
    const Motion<float> motion = Balanced(bed.plan, row, tag, spin_before);
    const Motion<float> whole = {motion.vx + thermal.vx, motion.vy + thermal.vy, motion.spin + thermal.spin};
    MoveBead<Mode::kMayCarry>(bed, laws, numbers, options, i, own, tag, whole, motion, before, health);
  }
}

template <class Team, class Index>
GYREBOX_PASS void BrownianPass(Team& team, BedView<Index>& bed, const StepNumbers& numbers, const MoveOptions& options,
                               HealthOfThread& health) {
  const StepLaws<float> laws = LawsOf(bed.plan, numbers);
  const PositionVelocity* now = bed.Now(bed.beads);
  const float* spin = bed.Now(bed.spin);
  const float mobility = 1 / laws.translational, turning = 1 / laws.rotational;
  for (std::uint32_t i = team.rank(); i < bed.plan.n; i += team.size()) {
    const PositionVelocity own = now[i];
    const std::uint32_t tag = bed.tag[i];
    BalanceRow<float> row(0.0f, 0.0f);
    ForPartners(bed, laws, now, i, own, [&](std::uint32_t j, const PositionVelocity&, const PairGeometry<float>& pair) {
      health.closest = Min(health.closest, pair.squared);
      laws.AddTransverseCoupling(pair, spin[i], spin[j], row);
    });
    const Motion<float> smooth = {row.fx * mobility, row.fy * mobility, spin[i]};
    if (numbers.thermal) laws.AddBeadNoise(numbers.keys, IdOf(tag), row);
    const bool imposed = bed.plan.rate_imposed && IsSpinner(tag);
    const Motion<float> whole = {row.fx * mobility, row.fy * mobility,
                                 imposed ? spin[i] : Fma(row.torque, turning, spin[i])};
    MoveBead<true>(bed, laws, numbers, options, i, own, tag, whole, smooth, {own.vx, own.vy, spin[i]}, health);
  }
}

}  // namespace gyrebox::kernels::cuda
