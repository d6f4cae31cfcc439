#include "study/run_spec.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace gyrebox::study {

/// Time between samples under a steady drive, in tau.
constexpr double kSteadyInterval = 0.25;
/// Samples in a period of an oscillating drive, at least.
constexpr double kSamplesPerPeriod = 8;
/// Lets a quotient such as 0.25 / 5e-4 count as the whole number that it is meant to be.
constexpr double kRoundOff = 1e-9;

double DrivePeriod(const v1::StudySpec& at) { return at.drive().has_sine() ? 1 / at.drive().sine().frequency() : 0; }

static int64_t IntervalSteps(const v1::StudySpec& at) {
  const double period = DrivePeriod(at);
  double interval = period > 0 ? period / kSamplesPerPeriod : kSteadyInterval;
  if (at.measure().has_interval()) {
    interval = period > 0 ? std::min(interval, at.measure().interval()) : at.measure().interval();
  }
  const double steps = interval / at.dynamics().time_step();
  return std::max<int64_t>(1, static_cast<int64_t>(steps * (1 + kRoundOff)));
}

static kernels::DriveSpec ToDriveSpec(const v1::Drive& drive) {
  kernels::DriveSpec spec;
  spec.quantity = drive.has_torque() ? kernels::DriveSpec::Quantity::kTorque : kernels::DriveSpec::Quantity::kRate;
  if (drive.has_sine()) {
    spec.wave.shape = kernels::WaveSpec::Shape::kSine;
    spec.wave.amplitude = drive.sine().amplitude();
    spec.wave.frequency = drive.sine().frequency();
  } else {
    spec.wave.shape = kernels::WaveSpec::Shape::kSteady;
    spec.wave.amplitude = drive.steady().amplitude();
  }
  return spec;
}

static kernels::StartSpec ToStartSpec(const v1::Start& start) {
  kernels::StartSpec spec;
  spec.places = start.has_triangular() ? kernels::StartSpec::Places::kTriangular : kernels::StartSpec::Places::kRandom;
  if (start.has_random()) spec.closest_pair = start.random().closest_pair();
  return spec;
}

kernels::RunSpec ToRunSpec(const v1::StudySpec& at, const v1::Seeds& seeds) {
  kernels::RunSpec run;
  run.n_beads = at.bed().bead_count();
  run.n_spinners = std::llround(at.bed().spinner_fraction() * static_cast<double>(run.n_beads));
  run.start = ToStartSpec(at.start());
  const kernels::Sides sides =
      kernels::FitSides(run.start.places, run.n_beads, at.bed().packing_fraction(), at.bed().aspect_ratio());
  run.side_x = sides.x;
  run.side_y = sides.y;
  const v1::ExponentialForce& force = at.forces().exponential();
  run.force = {kernels::ForceSpec::Law::kExponential, force.strength(), force.decay_length(), force.cutoff()};
  run.friction = {at.friction().tangential(), at.friction().normal(), at.friction().cutoff(), at.friction().exponent()};
  run.drag = {at.drag().translational(), at.drag().rotational()};
  run.temperature = at.thermal().temperature();
  run.time_step = at.dynamics().time_step();
  run.n_steps = std::llround(at.schedule().duration() / run.time_step);
  run.drive = ToDriveSpec(at.drive());
  run.measure = {IntervalSteps(at), at.measure().bond_length()};
  run.health = {at.health().closest_pair(), at.health().largest_move()};
  run.seeds = {seeds.places(), seeds.noise(), seeds.disorder()};
  return run;
}

std::string StudyPathOf(const std::string& run_spec_member) {
  static constexpr std::pair<const char*, const char*> kPaths[] = {
      {"n_beads", "bed.bead_count"},
      {"n_spinners", "bed.spinner_fraction"},
      {"side", "bed.bead_count"},
      {"start.closest_pair", "start.random.closest_pair"},
      {"start", "start"},
      {"force.strength", "forces.exponential.strength"},
      {"force.decay_length", "forces.exponential.decay_length"},
      {"force.cutoff", "forces.exponential.cutoff"},
      {"friction.tangential", "friction.tangential"},
      {"friction.normal", "friction.normal"},
      {"friction.cutoff", "friction.cutoff"},
      {"friction.exponent", "friction.exponent"},
      {"drag.translational", "drag.translational"},
      {"drag.rotational", "drag.rotational"},
      {"temperature", "thermal.temperature"},
      {"time_step", "dynamics.time_step"},
      {"n_steps", "schedule.duration"},
      {"drive", "drive"},
      {"measure.interval", "measure.interval"},
      {"measure.bond_length", "measure.bond_length"},
      {"health.closest_pair", "health.closest_pair"},
      {"health.largest_move", "health.largest_move"},
  };
  for (const auto& [member, path] : kPaths) {
    if (run_spec_member.starts_with(member)) return path;
  }
  return "bed";
}

}  // namespace gyrebox::study
