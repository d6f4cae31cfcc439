/// The converged dynamics: the friction system of a bed solved by sweeps (dynamics/sweeps.h).
#pragma once

#include "cuda/passes.h"
#include "dynamics/sweeps.h"

namespace gyrebox::kernels::cuda {

GYREBOX_HD bool IsImposed(const BedPlan& plan, std::uint32_t tag) { return plan.rate_imposed && IsSpinner(tag); }

GYREBOX_HD double Product(const Motion<float>& a, const Motion<float>& b) {
  return Fma(a.vx, b.vx, Fma(a.vy, b.vy, a.spin * b.spin));
}
GYREBOX_HD double Squared(const Motion<float>& m) { return Fma(m.vx, m.vx, Fma(m.vy, m.vy, m.spin * m.spin)); }

/// Positions and velocities in one array, and spins in another.
struct Moving {
  PositionVelocity* beads;
  float* spin;
  GYREBOX_HD Motion<float> MotionOf(std::uint32_t i) const { return {beads[i].vx, beads[i].vy, spin[i]}; }
  GYREBOX_HD void Set(std::uint32_t i, const PositionVelocity& position, const Motion<float>& m) const {
    beads[i] = {position.x, position.y, m.vx, m.vy};
    spin[i] = m.spin;
  }
};

/// Residual forces on a bead with its current friction; the residual torque of an imposed spin is 0.
GYREBOX_PASS Motion<float> Left(const StepLaws<float>& laws, const Motion<float>& own, const BalanceRow<float>& row,
                                bool imposed) {
  return {Fma(-laws.translational, own.vx, row.fx), Fma(-laws.translational, own.vy, row.fy),
          imposed ? 0 : Fma(-laws.rotational, own.spin, row.torque)};
}

/// Forces on bead i from itself and its partners: its row with the current friction; the other forces, including
/// thermal ones; and the friction of imposed spins, which together with these forms the right-hand side.
struct FirstLook {
  BalanceRow<float> row, known{0.0f, 0.0f}, imposed_pulls{0.0f, 0.0f};
  Motion<float> random{0, 0, 0};
  float closest = 1e30f;
};
/// @tparam draw draws the thermal forces at these positions; otherwise `random` holds them. @param spins of all beads.
/// @param motion_of(j, other, spin) motion of partner j from its record and its spin.
template <bool draw, class Index, class MotionOf>
GYREBOX_PASS FirstLook LookAt(const BedView<Index>& bed, const StepLaws<float>& laws, const StepNumbers& numbers,
                              const PerSpinnerDriveNumbers* own_numbers, const PositionVelocity* positions,
                              const float* spins, const MotionOf& motion_of, const Motion<float>& own,
                              const Motion<float>& random, std::uint32_t i) {
  const BedPlan& plan = bed.plan;
  const std::uint32_t tag = bed.tag[i], id = IdOf(tag);
  const float own_imposed = IsImposed(plan, tag) ? own.spin : 0;
  struct Fetched {
    float spin;
    std::uint32_t tag;
  };
  FirstLook look{BalanceRow<float>(laws.translational, laws.rotational)};
  BalanceRow<float> noise(0.0f, 0.0f);
  noise.AddBeadForce(random.vx, random.vy, random.spin);
  ForPartners(
      bed, laws, positions, i, positions[i],
      [&](std::uint32_t j) {
        return Fetched{spins[j], bed.tag[j]};
      },
      [&](std::uint32_t j, const PositionVelocity& other, const PairGeometry<float>& pair, const Fetched& fetched) {
        look.closest = Min(look.closest, pair.squared);
        laws.AddWholeFriction(pair, own, motion_of(j, other, fetched.spin), look.row);
        laws.AddForce(pair, look.known);
        const float other_imposed = IsImposed(plan, fetched.tag) ? fetched.spin : 0;
        laws.AddImposed(pair, own_imposed + other_imposed, look.imposed_pulls);
        if constexpr (draw) laws.AddPairNoise(numbers.keys, id, IdOf(fetched.tag), pair, noise);
      });
  if constexpr (draw) laws.AddBeadNoise(numbers.keys, id, noise);
  look.random = {noise.fx, noise.fy, noise.torque};
  look.known.AddBeadForce(noise.fx, noise.fy, noise.torque);
  if (!plan.rate_imposed && IsSpinner(tag)) look.known.torque += DriveOf(plan, numbers, own_numbers, tag);
  look.row.AddBeadForce(look.known.fx, look.known.fy, look.known.torque);
  return look;
}
GYREBOX_PASS Motion<float> Right(const FirstLook& look, bool imposed) {
  const auto &known = look.known, &pulls = look.imposed_pulls;
  return {known.fx + pulls.fx, known.fy + pulls.fy, imposed ? 0 : known.torque + pulls.torque};
}

/// The friction system at some positions, with the interface of SolveBySweeps(). Computed motions alternate between the
/// two of memory.work.
template <class Team, class Index>
class FrictionSystem {
 public:
  GYREBOX_PASS FrictionSystem(Team& team, const BedView<Index>& bed, const StepNumbers& numbers,
                              const PerSpinnerDriveNumbers* own_numbers)
      : team_(team),
        bed_(bed),
        numbers_(numbers),
        own_numbers_(own_numbers),
        known_(bed.plan.memory.known, bed.plan.stride),
        random_(bed.plan.memory.random, bed.plan.stride) {}

  /// Sets the positions and the initial motion. @param draw draws the thermal forces there.
  GYREBOX_PASS void Start(const Moving& from, bool draw) {
    judged_ = from;
    draw_ = draw;
  }
  /// The one of the two motions of memory.work that is not being judged.
  GYREBOX_PASS Moving Spare() const {
    const BedMemory& memory = bed_.plan.memory;
    const std::size_t at = judged_.beads == memory.work ? bed_.plan.stride : 0;
    return {memory.work + at, memory.work_spin + at};
  }
  GYREBOX_PASS const Moving& judged() const { return judged_; }
  /// The latest motion, a sweep better than the judged one; it lies in memory.work.
  GYREBOX_PASS const Moving& made() const { return made_; }

  static constexpr double kRoundOff = kFloatRoundOff;

  GYREBOX_PASS FirstSweep Begin() { return draw_ ? BeginAs<true>() : BeginAs<false>(); }

  // Local copies of what a pass reads for every bead: the compiler would reload members after every write.
  template <bool draw>
  GYREBOX_RARE FirstSweep BeginAs() {
    made_ = Spare();
    const BedView<Index> bed = bed_;
    const BedPlan& plan = bed.plan;
    const StepNumbers& numbers = numbers_;
    const PerSpinnerDriveNumbers* own_numbers = own_numbers_;
    const Moving judged = judged_, made = made_;
    const Rows3 known = known_, random = random_;
    const bool keeps = numbers.thermal && !draw;
    float closest = closest_;
    double sums[5];
    team_.template Sum<5>(plan.n, plan.memory.partials, sums, [&](std::uint32_t i, double(&terms)[5]) {
      const StepLaws<float> laws = LawsOf(plan, numbers);
      const std::uint32_t tag = bed.tag[i];
      const bool imposed = IsImposed(plan, tag);
      const Motion<float> kept = keeps ? random.Load(i) : Motion<float>{0, 0, 0};
      const Motion<float> own = judged.MotionOf(i);
      const auto motion_of = [](std::uint32_t, const PositionVelocity& other, float spin) {
        return Motion<float>{other.vx, other.vy, spin};
      };
      const FirstLook look =
          LookAt<draw>(bed, laws, numbers, own_numbers, judged.beads, judged.spin, motion_of, own, kept, i);
      closest = Min(closest, look.closest);
      if (draw) random.Store(i, look.random);
      known.Store(i, {look.known.fx, look.known.fy, look.known.torque});
      const Motion<float> left = Left(laws, own, look.row, imposed), more = Correction(plan, look.row, left, tag);
      made.Set(i, judged.beads[i], {own.vx + more.vx, own.vy + more.vy, own.spin + more.spin});
      terms[0] = Squared(left);
      terms[1] = Squared(look.row.Product(own));
      terms[2] = Squared(Right(look, imposed));
      terms[3] = (look.row.axx + look.row.ayy) / (2 * laws.translational);
      terms[4] = look.row.c / laws.rotational;
    });
    closest_ = closest;
    return {{sums[0], sums[1]}, sums[2], sums[3], sums[4]};
  }

  GYREBOX_PASS SweepSums Sweep(double omega, bool judge) {
    return judge ? SweepAs<true>(omega) : SweepAs<false>(omega);
  }

  template <bool judge>
  GYREBOX_RARE SweepSums SweepAs(double omega) {
    before_ = judged_;
    judged_ = made_;
    made_ = Spare();
    const BedView<Index> bed = bed_;
    const BedPlan& plan = bed.plan;
    const StepNumbers& numbers = numbers_;
    const Moving judged = judged_, before = before_, made = made_;
    const Rows3 known = known_;
    const float all = static_cast<float>(omega), beyond = static_cast<float>(omega - 1);
    const auto sweep = [&](std::uint32_t i, double(&terms)[2]) {
      const StepLaws<float> laws = LawsOf(plan, numbers);
      const std::uint32_t tag = bed.tag[i];
      const PositionVelocity position = judged.beads[i];
      const Motion<float> own = {position.vx, position.vy, judged.spin[i]}, forces = known.Load(i);
      BalanceRow<float> row(laws.translational, laws.rotational);
      row.AddBeadForce(forces.vx, forces.vy, forces.spin);
      ForPartners(
          bed, laws, judged.beads, i, position, [&](std::uint32_t j) { return judged.spin[j]; },
          [&](std::uint32_t, const PositionVelocity& other, const PairGeometry<float>& pair, float spin) {
            laws.AddWholeFriction(pair, own, {other.vx, other.vy, spin}, row);
          });
      const Motion<float> left = Left(laws, own, row, IsImposed(plan, tag)), more = Correction(plan, row, left, tag);
      const Motion<float> old = before.MotionOf(i);
      made.Set(i, position,
               {Carried(all, beyond, own.vx, old.vx, more.vx), Carried(all, beyond, own.vy, old.vy, more.vy),
                Carried(all, beyond, own.spin, old.spin, more.spin)});
      terms[0] = Squared(left);
      terms[1] = Squared(row.Product(own));
    };
    double sums[2] = {};
    if constexpr (judge) {
      team_.template Sum<2>(plan.n, plan.memory.partials, sums, sweep);
    } else {
      double ignored[2];
      for (std::uint32_t i = team_.rank(); i < plan.n; i += team_.size()) sweep(i, ignored);
      team_.Sync();
    }
    return {sums[0], sums[1]};
  }

  /// Squared distance of the closest pair that this thread met, sigma^2.
  GYREBOX_PASS float closest_squared() const { return closest_; }

 private:
  Team& team_;
  const BedView<Index>& bed_;
  const StepNumbers& numbers_;
  const PerSpinnerDriveNumbers* own_numbers_;
  const Rows3 known_, random_;
  Moving judged_{nullptr, nullptr}, before_{nullptr, nullptr}, made_{nullptr, nullptr};
  bool draw_ = false;
  float closest_ = 1e30f;
};

/// Solves for the motion of a bed and moves the beads into the next half. With noise: a midpoint step, in which both
/// solves use the random force drawn at the start (Fixman, J. Chem. Phys. 69, 1527 (1978)).
template <class Team, class Index>
GYREBOX_PASS SolverReport ConvergedPass(Team& team, BedView<Index>& bed, const StepNumbers& numbers,
                                        const PerSpinnerDriveNumbers* own_numbers, const MoveOptions& options,
                                        HealthOfThread& health) {
  const BedPlan& plan = bed.plan;
  const DynamicsSpec& dynamics = plan.dynamics;
  const StepLaws<float> laws = LawsOf(plan, numbers);
  const Moving now = {bed.Now(bed.beads), bed.Now(bed.spin)};
  const bool midpoint = dynamics.midpoint && numbers.thermal;
  FrictionSystem<Team, Index> system(team, bed, numbers, own_numbers);
  system.Start(now, numbers.thermal);
  const SolverAim aim = midpoint ? HalfwayAim(dynamics.tolerance) : WholeAim(dynamics.tolerance);
  SolverReport report = SolveBySweeps(system, plan.n, aim, dynamics.max_iterations);
  health.closest = system.closest_squared();
  if (midpoint) {
    const float half = static_cast<float>(numbers.time / 2);
    const Moving middle = system.made();
    for (std::uint32_t i = team.rank(); i < plan.n; i += team.size()) {
      Remainder remainder = bed.Now(bed.remainder)[i];
      PositionVelocity bead = middle.beads[i];
      Advance(bead.x, remainder.x, bead.vx * half, laws.axis_x.quanta_of_length);
      Advance(bead.y, remainder.y, bead.vy * half, laws.axis_y.quanta_of_length);
      middle.beads[i] = bead;
    }
    team.Sync();
    system.Start(middle, false);
    report += SolveBySweeps(system, plan.n, AimFromHalfway(dynamics.tolerance), dynamics.max_iterations);
  }
  for (std::uint32_t i = team.rank(); i < plan.n; i += team.size()) {
    const Motion<float> motion = system.judged().MotionOf(i);
    MoveBead<true>(bed, laws, numbers, options, i, now.beads[i], bed.tag[i], motion, motion, now.MotionOf(i), health);
  }
  return report;
}

/// Residual of the force balance for the motion of the last computed substep: RelativeResidual(), or
/// ResidualBesideNoise(). @param followed whether the beads have moved by it.
template <class Mode, class Team, class Index>
GYREBOX_PASS double ResidualOfNext(Team& team, BedView<Index>& bed, const StepNumbers& numbers,
                                   const PerSpinnerDriveNumbers* own_numbers, bool followed) {
  const StepLaws<float> laws = LawsOf(bed.plan, numbers);
  const PositionVelocity* now = bed.Now(bed.beads);
  const Moving next = {bed.Next(bed.beads), bed.Next(bed.spin)};
  const BedMemory& memory = bed.plan.memory;
  const bool apart = followed && memory.motion != nullptr;
  const Rows3 rows(memory.motion, bed.plan.stride);
  const float* spins = apart ? memory.motion + 2 * std::size_t{bed.plan.stride} : next.spin;
  // If the thermal part of the motion is stored separately, the rest is judged by the forces without noise.
  const bool noisy = Mode::kThermal && numbers.thermal, parted = memory.motion != nullptr;
  double sums[3];
  team.template Sum<3>(bed.plan.n, bed.plan.memory.partials, sums, [&](std::uint32_t i, double(&terms)[3]) {
    const bool imposed = IsImposed(bed.plan, bed.tag[i]);
    const Motion<float> own = apart ? rows.Load(i) : next.MotionOf(i);
    const auto motion_of = [&](std::uint32_t j, const PositionVelocity&, float) {
      return apart ? rows.Load(j) : next.MotionOf(j);
    };
    const FirstLook look =
        LookAt<Mode::kThermal>(bed, laws, numbers, own_numbers, now, spins, motion_of, own, {0, 0, 0}, i);
    const Motion<float> left = Left(laws, own, look.row, imposed), right = Right(look, imposed);
    const Motion<float>& random = look.random;
    const float noise_of_spin = imposed ? 0 : random.spin;
    const Motion<float> calm_left = {left.vx - random.vx, left.vy - random.vy, left.spin - noise_of_spin};
    const Motion<float> forces = {right.vx - random.vx, right.vy - random.vy, right.spin - noise_of_spin};
    terms[0] = noisy && !parted ? Product(calm_left, forces) : Squared(calm_left);
    terms[1] = Squared(forces);
    terms[2] = Squared(right);
  });
  if (noisy && !parted) return ResidualBesideNoise(sums[0], sums[1], sums[2]);
  return RelativeResidual(sums[0], noisy ? sums[1] : sums[2]);
}

}  // namespace gyrebox::kernels::cuda
