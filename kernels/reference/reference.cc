#include "reference/reference.h"

#include <cmath>
#include <numbers>

#include "model/noise.h"

namespace gyrebox::reference {
namespace {

using Eigen::Index;
using Eigen::VectorXd;
using kernels::DriveSpec;
using kernels::RunSpec;
using kernels::WaveSpec;

double NearestImage(double gap, double side) { return side > 0 ? gap - side * std::round(gap / side) : gap; }
double Wrapped(double position, double side) {
  return side > 0 ? position - side * std::floor(position / side) : position;
}

std::vector<Index> Rows(Index n, auto keep) {
  std::vector<Index> rows;
  for (Index row = 0; row < n; ++row) {
    if (keep(row)) rows.push_back(row);
  }
  return rows;
}

}  // namespace

double DriveAt(const DriveSpec& drive, double time) {
  const kernels::WaveSpec& wave = drive.wave;
  const auto sine = [&](double frequency, double shift = 0) {
    return std::sin(2 * std::numbers::pi * frequency * time + shift);
  };
  switch (wave.shape) {
    case WaveSpec::Shape::kSteady:
      return wave.amplitude;
    case WaveSpec::Shape::kSine:
      return wave.amplitude * sine(wave.frequency);
    case WaveSpec::Shape::kSquare:
      return wave.amplitude * (sine(wave.frequency) >= 0 ? 1 : -1);
    case WaveSpec::Shape::kTriangle:
      return wave.amplitude * 2 / std::numbers::pi * std::asin(sine(wave.frequency));
    case WaveSpec::Shape::kChirp: {  // within the first sweep
      const double mean_frequency =
          wave.frequency + (wave.last_frequency - wave.frequency) * time / (2 * wave.sweep_time);
      return wave.amplitude * sine(mean_frequency);
    }
    case WaveSpec::Shape::kAm: {
      const double carrier = sine(wave.frequency);
      return wave.amplitude * (1 + wave.depth * sine(wave.modulation_frequency, std::numbers::pi / 2)) * carrier;
    }
    case WaveSpec::Shape::kFm:
      return wave.amplitude * sine(wave.frequency, wave.index * sine(wave.modulation_frequency));
    case WaveSpec::Shape::kSum: {
      double sum = 0;
      for (int k = 0; k < wave.n_terms; ++k) sum += wave.term_weights[k] * sine(wave.term_frequencies[k]);
      return wave.amplitude * sum;
    }
  }
  return 0;
}

namespace {

using Law = kernels::ForceSpec::Law;

// Force and energy before they are shifted to be continuous at the cut-off.
double RawForce(const kernels::ForceSpec& force, double r) {
  const double kappa = 1 / force.decay_length;
  switch (force.law) {
    case Law::kExponential:
      return force.strength * std::exp(-(r - 1) / force.decay_length);
    case Law::kSoft:
      return force.strength * (1 - r / force.cutoff);
    case Law::kWca:
      return 4 * force.strength * (12 * std::pow(r, -13) - 6 * std::pow(r, -7));
    case Law::kHarmonic:
      return force.strength * (force.cutoff - r);
    case Law::kYukawa:
      return force.strength * std::exp(-kappa * (r - 1)) * (kappa / r + 1 / (r * r));
  }
  return 0;
}

double RawEnergy(const kernels::ForceSpec& force, double r) {
  switch (force.law) {
    case Law::kExponential:
      return force.strength * force.decay_length * std::exp(-(r - 1) / force.decay_length);
    case Law::kSoft:
      return force.strength * force.cutoff * std::pow(1 - r / force.cutoff, 2) / 2;
    case Law::kWca:
      return 4 * force.strength * (std::pow(r, -12) - std::pow(r, -6));
    case Law::kHarmonic:
      return force.strength * std::pow(force.cutoff - r, 2) / 2;
    case Law::kYukawa:
      return force.strength * std::exp(-(r - 1) / force.decay_length) / r;
  }
  return 0;
}

}  // namespace

double PairForce(const kernels::ForceSpec& force, double r) {
  return r < force.cutoff ? RawForce(force, r) - RawForce(force, force.cutoff) : 0;
}

double PairEnergy(const kernels::ForceSpec& force, double r) {
  if (r >= force.cutoff) return 0;
  return RawEnergy(force, r) - RawEnergy(force, force.cutoff) - RawForce(force, force.cutoff) * (force.cutoff - r);
}

double FrictionWeight(const kernels::FrictionSpec& friction, double r) {
  return r < friction.cutoff ? std::pow(1 - r / friction.cutoff, friction.exponent) : 0;
}

Balance::Pair::Pair(Index i, Index j, double dx, double dy, double weight)
    : i(i), j(j), r(std::hypot(dx, dy)), weight(weight) {
  const double nx = dx / r, ny = dy / r, arm = r / 2;
  along << nx, ny, 0, -nx, -ny, 0;
  across << -ny, nx, arm, ny, -nx, arm;
}

Balance::Balance(const RunSpec& spec, const std::vector<Bead>& beads, const Imposed& imposed, std::int64_t step)
    : spec_(spec), beads_(beads), imposed_(imposed), step_(step) {
  const Index n = static_cast<Index>(beads.size());
  matrix_ = Eigen::MatrixXd::Zero(3 * n, 3 * n);
  conservative_ = thermal_ = torques_ = VectorXd::Zero(3 * n);
  for (Index i = 0; i < n; ++i) {
    for (Index j = i + 1; j < n; ++j) {
      const double dx = NearestImage(beads[j].x - beads[i].x, spec.side_x);
      const double dy = NearestImage(beads[j].y - beads[i].y, spec.side_y);
      const double r = std::hypot(dx, dy);
      if (r >= std::max(spec.force.cutoff, spec.friction.cutoff)) continue;
      pairs_.emplace_back(i, j, dx, dy, FrictionWeight(spec.friction, r));
      AddPair(pairs_.back());
    }
  }
  AddBeads();
}

void Balance::AddPair(const Pair& pair) {
  const auto rows = pair.rows();
  const double along = spec_.friction.normal * pair.weight, across = spec_.friction.tangential * pair.weight;
  matrix_(rows, rows) += along * pair.along * pair.along.transpose() + across * pair.across * pair.across.transpose();
  conservative_(rows) -= PairForce(spec_.force, pair.r) * pair.along;
  energy_ += PairEnergy(spec_.force, pair.r);
  if (spec_.temperature == 0) return;
  const auto keys = kernels::KeysOfStep(spec_.seeds.noise, static_cast<std::uint64_t>(step_));
  const auto noise =
      kernels::NoiseOfPair<double>(keys, static_cast<std::uint32_t>(pair.i), static_cast<std::uint32_t>(pair.j));
  const double twice_kt = 2 * spec_.temperature / spec_.time_step;
  thermal_(rows) += std::sqrt(twice_kt * along) * noise.along * pair.along;
  thermal_(rows) += std::sqrt(twice_kt * across) * noise.across * pair.across;
}

void Balance::AddBeads() {
  const auto keys = kernels::KeysOfStep(spec_.seeds.noise, static_cast<std::uint64_t>(step_));
  const double twice_kt = 2 * spec_.temperature / spec_.time_step;
  const double velocity = std::sqrt(twice_kt * spec_.drag.translational);
  const double spin = std::sqrt(twice_kt * spec_.drag.rotational);
  for (Index i = 0; i < static_cast<Index>(beads_.size()); ++i) {
    const Eigen::Vector3d drag(spec_.drag.translational, spec_.drag.translational, spec_.drag.rotational);
    matrix_.diagonal().segment<3>(3 * i) += drag;
    const auto noise = kernels::NoiseOfBead<double>(keys, static_cast<std::uint32_t>(i));
    thermal_.segment<3>(3 * i) += Eigen::Vector3d(velocity * noise.x, velocity * noise.y, spin * noise.spin);
    if (beads_[i].spinner && imposed_.quantity == DriveSpec::Quantity::kTorque) torques_(3 * i + 2) = imposed_.value;
  }
}

bool Balance::IsImposed(Index row) const {
  return row % 3 == 2 && beads_[row / 3].spinner && imposed_.quantity == DriveSpec::Quantity::kRate;
}

VectorXd Balance::Solve() const {
  const Index n = matrix_.rows();
  const auto free = Rows(n, [&](Index row) { return !IsImposed(row); });
  const auto known = Rows(n, [&](Index row) { return IsImposed(row); });
  VectorXd motion = VectorXd::Zero(n);
  motion(known).setConstant(imposed_.value);
  const VectorXd right = conservative_ + thermal_ + torques_ - matrix_ * motion;
  const VectorXd solved = Eigen::MatrixXd(matrix_(free, free)).llt().solve(VectorXd(right(free)));
  motion(free) = solved;
  return motion;
}

VectorXd Balance::Sweep(const VectorXd& before, double more_own) const {
  return SweepUnder(conservative_ + thermal_ + torques_, before, imposed_.value, more_own);
}
VectorXd Balance::SweepWithoutNoise(const VectorXd& before, double more_own) const {
  return SweepUnder(conservative_ + torques_, before, imposed_.value, more_own);
}
VectorXd Balance::SweepOfNoise(const VectorXd& before) const { return SweepUnder(thermal_, before, 0, 0); }

VectorXd Balance::SweepUnder(const VectorXd& forces, const VectorXd& before, double imposed_spin,
                             double more_own) const {
  VectorXd old = before;
  for (Index row = 0; row < old.size(); ++row) {
    if (IsImposed(row)) old(row) = imposed_spin;
  }
  const VectorXd left = forces - matrix_ * old;
  VectorXd motion = old;
  for (Index i = 0; i < old.size(); i += 3) {
    const auto own = Rows(3, [&](Index row) { return !IsImposed(i + row); });
    Eigen::Matrix3d weighted = (1 + more_own) * matrix_.block<3, 3>(i, i);
    const auto& drag = spec_.drag;
    weighted.diagonal() -= more_own * Eigen::Vector3d(drag.translational, drag.translational, drag.rotational);
    const Eigen::MatrixXd block = weighted(own, own);
    const VectorXd solved = block.llt().solve(VectorXd(VectorXd(left.segment<3>(i))(own)));
    for (std::size_t k = 0; k < own.size(); ++k) motion(i + own[k]) += solved(static_cast<Index>(k));
  }
  return motion;
}

Balance::Power Balance::PowerOf(const VectorXd& motion) const {
  Power out;
  for (Index row = 0; row < motion.size(); ++row) {
    const double drag = row % 3 == 2 ? spec_.drag.rotational : spec_.drag.translational;
    out.drag += drag * motion(row) * motion(row);
    // An imposed rate needs the torque that its row lacks; noise does not act on it.
    const double needed = matrix_.row(row).dot(motion) - conservative_(row);
    out.drive += (IsImposed(row) ? needed : torques_(row)) * motion(row);
    if (!IsImposed(row)) out.thermal += thermal_(row) * motion(row);
  }
  for (const Pair& pair : pairs_) {
    const VectorXd both = motion(pair.rows());
    out.friction += spec_.friction.tangential * pair.weight * std::pow(pair.across.dot(both), 2);
    out.friction += spec_.friction.normal * pair.weight * std::pow(pair.along.dot(both), 2);
  }
  out.conservative = -conservative_.dot(motion);
  return out;
}

void Move(const RunSpec& spec, const VectorXd& motion, std::vector<Bead>& beads) {
  for (std::size_t i = 0; i < beads.size(); ++i) {
    const Index row = 3 * static_cast<Index>(i);
    beads[i].x = Wrapped(beads[i].x + motion(row) * spec.time_step, spec.side_x);
    beads[i].y = Wrapped(beads[i].y + motion(row + 1) * spec.time_step, spec.side_y);
    beads[i].angle += motion(row + 2) * spec.time_step;
  }
}

void TakeStep(const RunSpec& spec, Method method, std::int64_t step, std::vector<Bead>& beads, Motions& motions) {
  const bool second_order = spec.dynamics.step == kernels::DynamicsSpec::Step::kSecondOrder;
  const double moment = (static_cast<double>(step) + (second_order ? 0 : 0.5)) * spec.time_step;
  const Balance balance(spec, beads, {spec.drive.quantity, DriveAt(spec.drive, moment)}, step);
  const auto sweep = [&] {
    if (!second_order) return balance.Sweep(motions.last);
    motions.thermal = balance.SweepOfNoise(motions.thermal);
    return balance.SweepWithoutNoise(step > 1 ? VectorXd(2 * motions.last - motions.earlier) : motions.last, 0.5);
  };
  const VectorXd motion = method == Method::kDirect ? balance.Solve() : sweep();
  const VectorXd carried = second_order && step > 0 ? VectorXd(1.5 * motion - 0.5 * motions.last) : motion;
  Move(spec, carried + motions.thermal, beads);
  motions.earlier = motions.last;
  motions.last = motion;
}

}  // namespace gyrebox::reference
