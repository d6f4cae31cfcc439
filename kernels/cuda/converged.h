/// The converged dynamics: the friction system of a bed solved by conjugate gradients (dynamics/conjugate_gradients.h).
#pragma once

#include "cuda/passes.h"
#include "dynamics/conjugate_gradients.h"

namespace gyrebox::kernels::cuda {

GYREBOX_HD bool IsImposed(const BedPlan& plan, std::uint32_t tag) { return plan.rate_imposed && IsSpinner(tag); }

GYREBOX_HD double Dot(const Vector4& a, const Vector4& b) { return Fma(a.x, b.x, Fma(a.y, b.y, a.spin * b.spin)); }

/// Thermal forces on bead i at these places; zero where there is no noise.
template <class Index>
GYREBOX_PASS Vector4 RandomForce(const BedView<Index>& bed, const StepLaws<float>& laws, const StepNumbers& numbers,
                                 const PlaceMotion* places, std::uint32_t i) {
  BalanceRow<float> row(0.0f, 0.0f);
  if (numbers.thermal) {
    const std::uint32_t id = IdOf(bed.tag[i]);
    ForPartners(bed, laws, places, i, places[i],
                [&](std::uint32_t j, const PlaceMotion&, const PairPlace<float>& pair) {
                  laws.AddPairNoise(numbers.keys, id, IdOf(bed.tag[j]), pair, row);
                });
    laws.AddBeadNoise(numbers.keys, id, row);
  }
  return {row.fx, row.fy, row.torque, 0};
}

/// Row i of the force balance with motions as given: what is left of the forces, and the right-hand side proper, which
/// knows only the imposed spins of the partners.
struct RowResidual {
  BalanceRow<float> row{0.0f, 0.0f};
  Vector4 residual, right;
  float closest = 1e30f;
};
template <class Index>
GYREBOX_PASS RowResidual ResidualOf(const BedView<Index>& bed, const StepLaws<float>& laws, const StepNumbers& numbers,
                                    const OwnDriveNumbers* own_numbers, const PlaceMotion* places,
                                    const PlaceMotion* motions, const float* spins, const Vector4& random,
                                    std::uint32_t i) {
  const BedPlan& plan = bed.plan;
  const std::uint32_t tag = bed.tag[i];
  RowResidual out;
  BalanceRow<float> row(laws.translational, laws.rotational);
  row.AddBeadForce(random.x, random.y, random.spin);
  if (!plan.rate_imposed && IsSpinner(tag)) row.torque += DriveOf(plan, numbers, own_numbers, tag);
  BalanceRow<float> known = row;
  ForPartners(bed, laws, places, i, places[i], [&](std::uint32_t j, const PlaceMotion&, const PairPlace<float>& pair) {
    out.closest = Min(out.closest, pair.squared);
    laws.AddCold(pair, {motions[j].vx, motions[j].vy, spins[j]}, row);
    laws.AddKnown(pair, IsImposed(plan, bed.tag[j]) ? spins[j] : 0, known);
  });
  const bool imposed = IsImposed(plan, tag);
  const Motion<float> left = row.Product({motions[i].vx, motions[i].vy, spins[i]});
  out.residual = {row.fx - left.vx, row.fy - left.vy, imposed ? 0 : row.torque - left.spin, 0};
  const float own_spin = imposed ? spins[i] : 0;
  out.right = {Fma(-row.bx, own_spin, known.fx), Fma(-row.by, own_spin, known.fy), imposed ? 0 : known.torque, 0};
  out.row = row;
  return out;
}

/// The friction system at the places of memory.work, as SolveByConjugateGradients() wants it.
template <class Team, class Index>
class FrictionSystem {
 public:
  GYREBOX_PASS FrictionSystem(Team& team, const BedView<Index>& bed, const StepLaws<float>& laws,
                              const StepNumbers& numbers, const OwnDriveNumbers* own_numbers)
      : team_(team),
        bed_(bed),
        plan_(bed.plan),
        memory_(bed.plan.memory),
        laws_(laws),
        numbers_(numbers),
        own_numbers_(own_numbers) {}

  GYREBOX_RARE SolverSums Begin(double& right) {
    double sums[3];
    team_.template Sum<3>(plan_.n, memory_.partials, sums, [&](std::uint32_t i, double(&terms)[3]) {
      RowResidual at = ResidualOf(bed_, laws_, numbers_, own_numbers_, memory_.work, memory_.work, memory_.work_spin,
                                  memory_.random[i], i);
      closest_ = Min(closest_, at.closest);
      const float block[6] = {at.row.axx, at.row.axy, at.row.ayy, at.row.bx, at.row.by, at.row.c};
      for (int k = 0; k < 6; ++k) memory_.block[static_cast<std::size_t>(k) * plan_.stride + i] = block[k];
      terms[0] = Dot(at.residual, at.residual);
      terms[1] = Dot(at.residual, Precondition(at.row, at.residual, i));
      terms[2] = Dot(at.right, at.right);
    });
    right = sums[2];
    return {sums[0], sums[1]};
  }

  GYREBOX_RARE void Turn(double beta) {
    const float factor = static_cast<float>(beta);
    for (std::uint32_t i = team_.rank(); i < plan_.n; i += team_.size()) {
      Vector4 p = memory_.preconditioned[i];
      if (factor != 0) {
        const Vector4 old = memory_.direction[i];
        p = {Fma(factor, old.x, p.x), Fma(factor, old.y, p.y), Fma(factor, old.spin, p.spin), 0};
      }
      memory_.direction[i] = p;
    }
    team_.Sync();
  }

  GYREBOX_RARE double Multiply() {
    double sums[1];
    team_.template Sum<1>(plan_.n, memory_.partials, sums, [&](std::uint32_t i, double(&terms)[1]) {
      BalanceRow<float> pulls(0.0f, 0.0f);
      ForPartners(bed_, laws_, memory_.work, i, memory_.work[i],
                  [&](std::uint32_t j, const PlaceMotion&, const PairPlace<float>& pair) {
                    const Vector4 other = memory_.direction[j];
                    laws_.AddFriction(pair, {other.x, other.y, other.spin}, pulls);
                  });
      const Vector4 p = memory_.direction[i];
      const Motion<float> left = LoadBlock(i).Product({p.x, p.y, p.spin});
      const Vector4 q = {left.vx - pulls.fx, left.vy - pulls.fy,
                         IsImposed(plan_, bed_.tag[i]) ? 0 : left.spin - pulls.torque, 0};
      memory_.product[i] = q;
      terms[0] = Dot(p, q);
    });
    return sums[0];
  }

  GYREBOX_RARE SolverSums Follow(double alpha) {
    const float step = static_cast<float>(alpha);
    double sums[2];
    team_.template Sum<2>(plan_.n, memory_.partials, sums, [&](std::uint32_t i, double(&terms)[2]) {
      const Vector4 p = memory_.direction[i], q = memory_.product[i], r = memory_.residual[i];
      PlaceMotion& bead = memory_.work[i];
      bead.vx = Fma(step, p.x, bead.vx);
      bead.vy = Fma(step, p.y, bead.vy);
      memory_.work_spin[i] = Fma(step, p.spin, memory_.work_spin[i]);
      const Vector4 left = {Fma(-step, q.x, r.x), Fma(-step, q.y, r.y), Fma(-step, q.spin, r.spin), 0};
      terms[0] = Dot(left, left);
      terms[1] = Dot(left, Precondition(LoadBlock(i), left, i));
    });
    return {sums[0], sums[1]};
  }

  /// Of the beads that this thread saw, sigma^2.
  GYREBOX_PASS float closest_squared() const { return closest_; }

 private:
  // Keeps a residual and what the block of the bead makes of it.
  GYREBOX_PASS Vector4 Precondition(BalanceRow<float> row, const Vector4& residual, std::uint32_t i) {
    row.fx = residual.x;
    row.fy = residual.y;
    row.torque = residual.spin;
    const Motion<float> z = Balanced(plan_, row, bed_.tag[i], 0);
    memory_.residual[i] = residual;
    memory_.preconditioned[i] = {z.vx, z.vy, z.spin, 0};
    return memory_.preconditioned[i];
  }
  GYREBOX_PASS BalanceRow<float> LoadBlock(std::uint32_t i) const {
    BalanceRow<float> row(0.0f, 0.0f);
    const float* block = memory_.block + i;
    const std::size_t stride = plan_.stride;
    row.axx = block[0];
    row.axy = block[stride];
    row.ayy = block[2 * stride];
    row.bx = block[3 * stride];
    row.by = block[4 * stride];
    row.c = block[5 * stride];
    return row;
  }

  Team& team_;
  const BedView<Index>& bed_;
  const BedPlan& plan_;
  const BedMemory& memory_;
  const StepLaws<float>& laws_;
  const StepNumbers& numbers_;
  const OwnDriveNumbers* own_numbers_;
  float closest_ = 1e30f;
};

/// Solves for the motion of a bed and moves it into the next half. With noise: a midpoint step, in which the random
/// force drawn at the start serves both solves (Fixman, J. Chem. Phys. 69, 1527 (1978)).
template <class Team, class Index>
GYREBOX_PASS SolverReport ConvergedPass(Team& team, BedView<Index>& bed, const StepNumbers& numbers,
                                        const OwnDriveNumbers* own_numbers, const MoveOptions& options,
                                        HealthOfThread& health) {
  const BedPlan& plan = bed.plan;
  const BedMemory& memory = plan.memory;
  const StepLaws<float> laws = LawsOf(plan, numbers);
  const PlaceMotion* now = bed.Now(bed.beads);
  for (std::uint32_t i = team.rank(); i < plan.n; i += team.size()) {
    memory.random[i] = RandomForce(bed, laws, numbers, now, i);
    memory.work[i] = now[i];
    memory.work_spin[i] = bed.Now(bed.spin)[i];
  }
  team.Sync();
  FrictionSystem<Team, Index> system(team, bed, laws, numbers, own_numbers);
  SolverReport report = SolveByConjugateGradients(system, plan.dynamics.tolerance, plan.dynamics.most_iterations);
  health.closest = system.closest_squared();
  if (plan.dynamics.midpoint && numbers.thermal) {
    const float half = static_cast<float>(numbers.time / 2);
    for (std::uint32_t i = team.rank(); i < plan.n; i += team.size()) {
      Remainder remainder = bed.Now(bed.remainder)[i];
      PlaceMotion& bead = memory.work[i];
      Advance(bead.x, remainder.x, bead.vx * half, laws.axis_x.quanta_of_length);
      Advance(bead.y, remainder.y, bead.vy * half, laws.axis_y.quanta_of_length);
    }
    team.Sync();
    const SolverReport second =
        SolveByConjugateGradients(system, plan.dynamics.tolerance, plan.dynamics.most_iterations);
    report.converged = report.converged && second.converged;
    report.iterations += second.iterations;
    report.relative_residual = Max(report.relative_residual, second.relative_residual);
  }
  const float time = static_cast<float>(numbers.time);
  for (std::uint32_t i = team.rank(); i < plan.n; i += team.size()) {
    const Motion<float> motion = {memory.work[i].vx, memory.work[i].vy, memory.work_spin[i]};
    MoveBead(bed, laws, options, time, i, now[i], bed.tag[i], motion, health);
  }
  return report;
}

/// How far the motion in the next half is from balancing all forces, |b - A V| / |b|.
template <class Team, class Index>
GYREBOX_PASS double ResidualOfNext(Team& team, BedView<Index>& bed, const StepNumbers& numbers,
                                   const OwnDriveNumbers* own_numbers) {
  const StepLaws<float> laws = LawsOf(bed.plan, numbers);
  const PlaceMotion* now = bed.Now(bed.beads);
  double sums[2];
  team.template Sum<2>(bed.plan.n, bed.plan.memory.partials, sums, [&](std::uint32_t i, double(&terms)[2]) {
    const RowResidual at = ResidualOf(bed, laws, numbers, own_numbers, now, bed.Next(bed.beads), bed.Next(bed.spin),
                                      RandomForce(bed, laws, numbers, now, i), i);
    terms[0] = Dot(at.residual, at.residual);
    terms[1] = Dot(at.right, at.right);
  });
  return sums[1] > 0 ? Sqrt(sums[0] / sums[1]) : Sqrt(sums[0]);
}

}  // namespace gyrebox::kernels::cuda
