#include "study/run_spec.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "study/round_off.h"
#include "study/schedule.h"

namespace gyrebox::study {

/// Time between samples under a steady drive, in tau.
constexpr double kSteadyInterval = 0.25;
/// Min samples per period of an oscillating drive.
constexpr double kSamplesPerPeriod = 8;
/// Longer than any run. Keeps the sample interval of a drive that hardly oscillates within 64 bits.
constexpr double kMaxSteps = 1e15;

double SampleInterval(const v1::StudySpec& at) {
  const double frequency = HighestFrequencyOf(at).of_wave;
  const double interval = frequency > 0 ? 1 / (kSamplesPerPeriod * frequency) : kSteadyInterval;
  if (!at.measure().has_interval()) return interval;
  return frequency > 0 ? std::min(interval, at.measure().interval()) : at.measure().interval();
}

static int64_t IntervalSteps(const v1::StudySpec& at) {
  const double steps = SampleInterval(at) / at.dynamics().time_step();
  return static_cast<int64_t>(std::clamp(steps * (1 + kRoundOff), 1.0, kMaxSteps));
}

static kernels::ForceSpec ToForceSpec(const v1::Forces& forces) {
  using Law = kernels::ForceSpec::Law;
  const auto spec = [](Law law, const auto& force) {
    kernels::ForceSpec made{.law = law, .strength = force.strength()};
    if constexpr (requires { force.decay_length(); }) made.decay_length = force.decay_length();
    if constexpr (requires { force.cutoff(); }) made.cutoff = force.cutoff();
    return made;
  };
  switch (forces.law_case()) {
    case v1::Forces::kSoft:
      return spec(Law::kSoft, forces.soft());
    case v1::Forces::kWca:
      return {.law = Law::kWca, .strength = forces.wca().strength(), .cutoff = std::pow(2.0, 1.0 / 6)};
    case v1::Forces::kHarmonic:
      return spec(Law::kHarmonic, forces.harmonic());
    case v1::Forces::kYukawa:
      return spec(Law::kYukawa, forces.yukawa());
    default:
      return spec(Law::kExponential, forces.exponential());
  }
}

static kernels::DynamicsSpec ToDynamicsSpec(const v1::Dynamics& dynamics) {
  using Step = kernels::DynamicsSpec::Step;
  kernels::DynamicsSpec spec;
  spec.step = dynamics.step_order() == 2 ? Step::kSecondOrder : Step::kFirstOrder;
  if (dynamics.has_brownian()) {
    spec.equation = kernels::DynamicsSpec::Equation::kBrownian;
    spec.transverse_coupling = dynamics.brownian().transverse_coupling();
  } else if (dynamics.overdamped().has_converged()) {
    spec.equation = kernels::DynamicsSpec::Equation::kConverged;
    spec.tolerance = dynamics.overdamped().converged().tolerance();
    spec.max_iterations = dynamics.overdamped().converged().max_iterations();
  }
  return spec;
}

static kernels::StartSpec ToStartSpec(const v1::Start& start) {
  using Arrangement = kernels::StartSpec::Arrangement;
  using Labels = kernels::StartSpec::Labels;
  kernels::StartSpec spec;
  spec.arrangement = start.has_saved()        ? Arrangement::kSaved
                     : start.has_triangular() ? Arrangement::kTriangular
                     : start.has_square()     ? Arrangement::kSquare
                                              : Arrangement::kRandom;
  spec.labels = start.has_drop() ? Labels::kDrop : (start.has_stripe() ? Labels::kStripe : Labels::kScattered);
  if (start.has_random()) spec.closest_pair = start.random().closest_pair();
  return spec;
}

double PackingFraction(const v1::Bed& bed) {
  return bed.has_number_density() ? bed.number_density() * std::numbers::pi / 4 : bed.packing_fraction();
}

static kernels::RetrySpec ToRetrySpec(const v1::StudySpec& at) {
  const double keep_steps = at.retry().keep_interval() / at.dynamics().time_step();
  return {.max_halvings = at.retry().max_halvings(), .keep_steps = std::max<int64_t>(1, std::llround(keep_steps))};
}

static kernels::Sides SidesOf(const kernels::StartSpec& start, const v1::Bed& bed) {
  if (start.arrangement != kernels::StartSpec::Arrangement::kSaved) {
    return kernels::FitSides(start.arrangement, bed.bead_count(), PackingFraction(bed), bed.aspect_ratio());
  }
  return start.saved == nullptr ? kernels::Sides() : kernels::Sides{start.saved->side_x, start.saved->side_y};
}

kernels::RunSpec ToPhysics(const v1::StudySpec& at) {
  kernels::RunSpec run;
  run.force = ToForceSpec(at.forces());
  run.friction = {.tangential = at.friction().tangential(),
                  .normal = at.friction().normal(),
                  .cutoff = at.friction().cutoff(),
                  .exponent = at.friction().exponent()};
  run.drag = {.translational = at.drag().translational(), .rotational = at.drag().rotational()};
  run.temperature = at.thermal().temperature();
  run.dynamics = ToDynamicsSpec(at.dynamics());
  run.drive = ToDriveSpec(at.drive());
  return run;
}

kernels::RunSpec ToRunSpec(const v1::StudySpec& at, const v1::Seeds& seeds,
                           const std::shared_ptr<const kernels::SavedBed>& saved) {
  kernels::RunSpec run = ToPhysics(at);
  run.n_beads = at.bed().bead_count();
  run.n_spinners = std::llround(at.bed().spinner_fraction() * static_cast<double>(run.n_beads));
  run.start = ToStartSpec(at.start());
  run.start.saved = saved;
  const kernels::Sides sides = SidesOf(run.start, at.bed());
  run.side_x = sides.x;
  run.side_y = sides.y;
  run.time_step = at.dynamics().time_step();
  run.n_steps = StepsOf(at);
  run.adjustments = ToAdjustments(at);
  run.measure.interval_steps = IntervalSteps(at);
  run.measure.bond_length = at.measure().bond_length();
  run.health = {.closest_pair = at.health().closest_pair(), .largest_move = at.health().largest_move()};
  run.retry = ToRetrySpec(at);
  run.seeds = {.positions = seeds.positions(), .noise = seeds.noise(), .disorder = seeds.disorder()};
  return run;
}

int64_t FrameStepsOf(const v1::StudySpec& at, const kernels::RunSpec& run) {
  const double interval = at.measure().frame_interval();
  if (!(interval > 0)) return 0;
  const auto sample_steps = static_cast<double>(run.measure.interval_steps);
  const double samples = std::max(1.0, std::round(interval / (sample_steps * run.time_step)));
  return static_cast<int64_t>(std::min(samples * sample_steps, kMaxSteps));
}

std::string StudyPathOf(const std::string& run_spec_member) {
  static constexpr std::pair<const char*, const char*> kPaths[] = {
      {"n_beads", "bed.bead_count"},
      {"n_spinners", "bed.spinner_fraction"},
      {"side", "bed.bead_count"},
      {"start.closest_pair", "start.random.closest_pair"},
      {"start.saved", "start.saved.run"},
      {"start", "start"},
      {"force", "forces"},
      {"friction.tangential", "friction.tangential"},
      {"friction.normal", "friction.normal"},
      {"friction.cutoff", "friction.cutoff"},
      {"friction.exponent", "friction.exponent"},
      {"drag.translational", "drag.translational"},
      {"drag.rotational", "drag.rotational"},
      {"temperature", "thermal.temperature"},
      {"time_step", "dynamics.time_step"},
      {"dynamics", "dynamics"},
      {"retry", "retry"},
      {"n_steps", "schedule"},
      {"adjustments", "schedule"},
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
