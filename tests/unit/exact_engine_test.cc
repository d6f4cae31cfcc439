// The engine against exact solutions of the model.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "beds.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::Bead;
using kernels::DriveSpec;
using kernels::DynamicsSpec;
using kernels::RunSpec;
using kernels::StartSpec;
using kernels::WaveSpec;
using std::numbers::pi;

struct Point {
  double x, y;
};

// Beads at given positions, under friction across the line of centres and drag alone; driven beads feel a torque of 1.
// `contact_friction` is the weight at distance 1 times the coefficient.
RunSpec FrictionSpec(const std::vector<Point>& positions, const std::vector<int>& driven, double contact_friction) {
  RunSpec spec;
  spec.n_beads = static_cast<std::int64_t>(positions.size());
  spec.n_spinners = static_cast<std::int64_t>(driven.size());
  spec.side_x = spec.side_y = 40;
  spec.start.arrangement = StartSpec::Arrangement::kGiven;
  spec.start.given_spinner.assign(positions.size(), 0);
  for (const int bead : driven) spec.start.given_spinner[static_cast<std::size_t>(bead)] = 1;
  for (const Point& position : positions) {
    spec.start.given_x.push_back(position.x);
    spec.start.given_y.push_back(position.y);
  }
  spec.force.strength = 0;
  spec.friction = {contact_friction / (1 - 1 / 1.3), 0, 1.3, 1};
  spec.drag = {3, 1};
  spec.time_step = 1e-4;
  spec.n_steps = 100;
  spec.dynamics.equation = DynamicsSpec::Equation::kConverged;
  spec.dynamics.tolerance = 1e-6;
  spec.drive = {DriveSpec::Quantity::kTorque, {.shape = WaveSpec::Shape::kSteady, .amplitude = 1}, {}};
  return spec;
}

std::vector<Bead> AfterOneStep(const RunSpec& spec) {
  const auto device = TestDevice(1);
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  const auto chunk = ensemble->Advance(1);
  EXPECT_FALSE(chunk[0].fault) << chunk[0].fault->message;
  return ensemble->Beads(0);
}

// Velocity of a bead along the circle about a centre, counter-clockwise.
double Around(const Bead& bead, const Point& position, const Point& centre) {
  const double dx = position.x - centre.x, dy = position.y - centre.y;
  return (dx * bead.vy - dy * bead.vx) / std::hypot(dx, dy);
}

const std::vector<Point> kPair = {{19.5, 20}, {20.5, 20}};

std::vector<Point> Hexagon() {
  std::vector<Point> positions = {{20, 20}};
  for (int k = 0; k < 6; ++k) positions.push_back({20 + std::cos(k * pi / 3), 20 + std::sin(k * pi / 3)});
  return positions;
}

// Exact (two linear equations): omega = T / (zeta_r + d^2 g zeta_t / (2 (zeta_t + 2 g))), orbit rate
// W / omega = 2 g / (zeta_t + 2 g), here with zeta_t = 3, zeta_r = 1, g = 2, d = 1, T = 1.
TEST(FrictionPair, BothDrivenTurnAndOrbit) {
  const auto beads = AfterOneStep(FrictionSpec(kPair, {0, 1}, 2));
  for (int i = 0; i < 2; ++i) {
    EXPECT_NEAR(beads[i].spin, 0.7, 1e-5);
    EXPECT_NEAR(Around(beads[i], kPair[i], {20, 20}), 0.4 / 2, 1e-5);
  }
}

// Exact: a driven pair, and a ring about a driven bead, circle at constant distance. The step error makes them drift
// apart: halving the step reduces the drift to 1/4, at first order to 1/2. Runs 0.1 tau at 100 rad/tau and returns the
// growth of the distance.
double GrowthOfACircle(DynamicsSpec::Equation equation, DynamicsSpec::Step step, bool ring, double time_step) {
  std::vector<Point> positions = kPair;
  std::vector<int> driven = {0, 1};
  if (ring) {
    positions = {{20, 20}};
    driven = {0};
    for (int k = 0; k < 6; ++k) {
      positions.push_back({20 + std::cos(k * pi / 3), 20 + std::sin(k * pi / 3)});
      driven.push_back(k + 1);
    }
  }
  RunSpec spec = FrictionSpec(positions, driven, 5 * (1 - 1 / 1.3));
  spec.friction.normal = 5;
  spec.drag.translational = 1;
  spec.drive = {DriveSpec::Quantity::kRate, {.shape = WaveSpec::Shape::kSteady, .amplitude = 100}, {}};
  spec.dynamics.equation = equation;
  spec.dynamics.step = step;
  spec.time_step = time_step;
  spec.n_steps = std::llround(0.1 / time_step);
  const auto beads = OutcomeOf(spec).beads;
  const int a = ring ? 1 : 0, b = ring ? 4 : 1;
  return std::hypot(beads[a].x - beads[b].x, beads[a].y - beads[b].y) - (ring ? 2 : 1);
}

TEST(Circling, HasTheErrorOfTheOrderOfTheStep) {
  using Equation = DynamicsSpec::Equation;
  using Step = DynamicsSpec::Step;
  for (const auto equation : {Equation::kLagged, Equation::kConverged}) {
    for (const bool ring : {false, true}) {
      SCOPED_TRACE(testing::Message() << (equation == Equation::kLagged ? "lagged" : "converged") << ", ring " << ring);
      const double euler = GrowthOfACircle(equation, Step::kFirstOrder, ring, 4e-4);
      const double whole = GrowthOfACircle(equation, Step::kSecondOrder, ring, 4e-4);
      const double half = GrowthOfACircle(equation, Step::kSecondOrder, ring, 2e-4);
      EXPECT_LT(std::abs(whole), euler / 20);
      EXPECT_NEAR(whole / half, 4, 1);
      EXPECT_NEAR(euler / GrowthOfACircle(equation, Step::kFirstOrder, ring, 2e-4), 2, 0.3);
    }
  }
}

// Exact: the passive partner turns the other way, like a gear.
TEST(FrictionPair, OneDrivenTurnsThePassiveOneBackwards) {
  const auto beads = AfterOneStep(FrictionSpec(kPair, {0}, 2));
  EXPECT_NEAR(beads[0].spin, 0.85, 1e-5);
  EXPECT_NEAR(beads[1].spin, -0.15, 1e-5);
  for (int i = 0; i < 2; ++i) EXPECT_NEAR(Around(beads[i], kPair[i], {20, 20}), 0.2 / 2, 1e-5);
}

// Exact: surfaces that roll on each other do not slip.
TEST(FrictionPair, OppositeTorquesDoNotInteract) {
  RunSpec spec = FrictionSpec(kPair, {0, 1}, 2);
  spec.drive.disorder.opposite_fraction = 0.5;
  int tried = 0;
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    spec.seeds.disorder = seed;
    const auto beads = AfterOneStep(spec);
    if (beads[0].spin * beads[1].spin > 0) continue;  // both turn the same way with this seed
    ++tried;
    for (const Bead& bead : beads) {
      EXPECT_NEAR(std::abs(bead.spin), 1, 1e-5);
      EXPECT_NEAR(std::hypot(bead.vx, bead.vy), 0, 1e-5);
    }
  }
  EXPECT_GT(tried, 0);
}

// Computed separately, by a linear solve.
TEST(FrictionClusters, TriangleAllDriven) {
  const std::vector<Point> positions = {{20, 20}, {21, 20}, {20.5, 20 + std::sqrt(0.75)}};
  const Point centre = {20.5, 20 + std::sqrt(0.75) / 3};
  const auto beads = AfterOneStep(FrictionSpec(positions, {0, 1, 2}, 2));
  for (int i = 0; i < 3; ++i) {
    EXPECT_NEAR(beads[i].spin, 0.6, 1e-5);
    EXPECT_NEAR(Around(beads[i], positions[i], centre), 0.4 / std::sqrt(3.0), 1e-5);
  }
}

// Computed separately, by a linear solve: spin of the centre, spin and speed of the ring, at three frictions.
TEST(FrictionClusters, HexagonAllDrivenOrItsCentreAlone) {
  struct Row {
    bool all;
    double friction, centre, ring, speed;
  };
  for (const Row& row :
       {Row{true, 0.5, 0.41935484, 0.65161290, 0.14838710}, Row{true, 2, 0.25773196, 0.44329897, 0.22680412},
        Row{true, 20, 0.26883309, 0.30206795, 0.27326440}, Row{false, 0.5, 0.61290323, -0.03225806, 0.03225806},
        Row{false, 2, 0.31958763, -0.01030928, 0.04123711}, Row{false, 20, 0.08050222, 0.03138848, 0.04062038}}) {
    const auto positions = Hexagon();
    const std::vector<int> driven = row.all ? std::vector<int>{0, 1, 2, 3, 4, 5, 6} : std::vector<int>{0};
    const auto beads = AfterOneStep(FrictionSpec(positions, driven, row.friction));
    EXPECT_NEAR(beads[0].spin, row.centre, 1e-5);
    for (int i = 1; i < 7; ++i) {
      EXPECT_NEAR(beads[i].spin, row.ring, 1e-5);
      EXPECT_NEAR(Around(beads[i], positions[i], positions[0]), row.speed, 1e-5);
    }
  }
}

// A 30 x 30 crystal of spacing 1.
RunSpec CrystalSpec(const std::vector<int>& driven) {
  std::vector<Point> positions;
  for (int row = 0; row < 30; ++row) {
    for (int column = 0; column < 30; ++column) positions.push_back({column + 0.5 * (row % 2), row * std::sqrt(0.75)});
  }
  RunSpec spec = FrictionSpec(positions, driven, 2);
  spec.side_x = 30;
  spec.side_y = 30 * std::sqrt(0.75);
  return spec;
}

// Exact: with all beads driven, omega = T / (zeta_r + 3 g d^2), and nothing moves.
TEST(FrictionCrystal, AllDrivenTurnsWithoutTranslating) {
  std::vector<int> all(900);
  for (int i = 0; i < 900; ++i) all[i] = i;
  for (const Bead& bead : AfterOneStep(CrystalSpec(all))) {
    ASSERT_NEAR(bead.spin, 1.0 / 7, 1e-5);
    ASSERT_NEAR(std::hypot(bead.vx, bead.vy), 0, 1e-5);
  }
}

// Computed separately, by a linear solve.
TEST(FrictionCrystal, OneOrTwoDrivenInAPassiveCrystal) {
  const int one = 15 * 30 + 15;
  const auto beads = AfterOneStep(CrystalSpec({one}));
  EXPECT_NEAR(beads[one].spin, 0.31343551, 1e-5);
  EXPECT_NEAR(beads[one + 1].spin, -0.02348955, 1e-5);
  EXPECT_NEAR(beads[one + 1].vx, 0, 1e-5);
  EXPECT_NEAR(beads[one + 1].vy, 0.03054556, 1e-5);
  const auto two = AfterOneStep(CrystalSpec({one, one + 1}));
  EXPECT_NEAR(two[one].spin, 0.28994596, 1e-5);
  EXPECT_NEAR(two[one].vy, -0.03054556, 1e-5);
  EXPECT_NEAR(two[one + 1].vy, 0.03054556, 1e-5);
}

// Exact: reversing the sense of rotation gives the mirror image.
TEST(FrictionCrystal, ReversedRotationIsTheMirrorImage) {
  const int one = 15 * 30 + 15;
  RunSpec spec = CrystalSpec({one, one + 1, one + 60});
  RunSpec mirrored = spec;
  for (double& x : mirrored.start.given_x) x = -x;
  mirrored.drive.wave.amplitude = -1;
  spec.n_steps = mirrored.n_steps = 200;
  spec.force.strength = mirrored.force.strength = 20;
  const auto beads = OutcomeOf(spec).beads, images = OutcomeOf(mirrored).beads;
  for (std::size_t i = 0; i < beads.size(); ++i) {
    ASSERT_NEAR(std::remainder(beads[i].x + images[i].x, spec.side_x), 0, 1e-5);
    ASSERT_NEAR(beads[i].y, images[i].y, 1e-5);
    ASSERT_NEAR(beads[i].spin, -images[i].spin, 1e-5);
  }
}

// A single bead whose torque is adjusted at every step: the torque of a field on its moment, at the middle of the step.
class SteeredBead {
 public:
  explicit SteeredBead(double time_step) : spec_(FrictionSpec({{20, 20}}, {0}, 0)) {
    spec_.time_step = time_step;
    spec_.n_steps = 1 << 30;
    spec_.measure.interval_steps = 1 << 30;
    device_ = TestDevice(1);
    ensemble_ = device_->NewEnsemble(std::vector{spec_});
  }

  double angle() const { return angle_; }
  double time() const { return static_cast<double>(step_) * spec_.time_step; }

  // torque(angle, time), epsilon; drag is 1, so it is also the rate.
  template <class Torque>
  void Step(const Torque& torque) {
    const double half = spec_.time_step / 2;
    const double middle = angle_ + half * torque(angle_, time());
    ensemble_->Adjust(0, {step_, 0, {}, {{kernels::Parameter::kAmplitude, torque(middle, time() + half), false}}});
    const double before = ensemble_->Beads(0)[0].angle;
    ensemble_->Advance(1);
    angle_ += std::remainder(ensemble_->Beads(0)[0].angle - before, 2 * pi);
    ++step_;
  }

 private:
  RunSpec spec_;
  std::unique_ptr<kernels::Device> device_;
  std::unique_ptr<kernels::Ensemble> ensemble_;
  std::int64_t step_ = 0;
  double angle_ = 0;
};

// Exact: a moment in a field rotating at 1.25 times the step-out rate slips behind and turns at half that rate on
// average; it loses one turn per 2 pi / sqrt(omega^2 - omega_c^2).
TEST(MomentInAField, BeyondStepOutTurnsAtTheKnownMeanRate) {
  const double rate = 1.25, slip_time = 2 * pi / std::sqrt(rate * rate - 1);
  const int steps = 20000;
  SteeredBead bead(slip_time / steps);
  for (int i = 0; i < steps; ++i) bead.Step([&](double angle, double t) { return std::sin(rate * t - angle); });
  EXPECT_NEAR(bead.angle() / slip_time, 0.5, 1e-5);
}

// Exact: in a field along a line, tan(theta/2) = tan(theta_0/2) exp(-(omega_c/omega) sin omega t).
TEST(MomentInAField, AlongALineOscillatesAndReturns) {
  const double first = 1, strength = 2;
  const double expected[] = {0.20234173, 0.17681696, 0.78155265, 2.37555416, 2.61614503};
  SteeredBead bead(2e-4);
  for (int t = 1; t <= 5; ++t) {
    for (int i = 0; i < 5000; ++i) {
      bead.Step([&](double angle, double time) { return -strength * std::cos(time) * std::sin(first + angle); });
    }
    EXPECT_NEAR(first + bead.angle(), expected[t - 1], 1e-5) << t;
  }
}

// Exact: under a torque T sin(2 pi f t) a free bead turns by T (1 - cos 2 pi f t) / (zeta_r 2 pi f).
TEST(FreeBead, UnderAnOscillatingTorqueLagsAQuarterPeriod) {
  RunSpec spec = FrictionSpec({{20, 20}}, {0}, 0);
  spec.drag.rotational = 2;
  spec.drive.wave = {.shape = WaveSpec::Shape::kSine, .amplitude = 3, .frequency = 0.5};
  spec.time_step = 1e-3;
  spec.n_steps = 4000;
  const auto device = TestDevice(1);
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  const double amplitude = 3 / (2 * 2 * pi * 0.5);
  for (int step = 100; step <= 4000; step += 100) {
    ensemble->Advance(100);
    const double t = step * spec.time_step;
    EXPECT_NEAR(std::remainder(ensemble->Beads(0)[0].angle - amplitude * (1 - std::cos(2 * pi * 0.5 * t)), 2 * pi), 0,
                1e-5);
  }
}

// Exact: <cos(angle)> = exp(-D_r t), D_r = kT / zeta_r. 4 standard errors.
TEST(FreeBeads, DecorrelateAtTheRateOfRotationalDiffusion) {
  RunSpec spec = DenseSpec(16384, 0.01);
  spec.start.arrangement = StartSpec::Arrangement::kSquare;
  spec.force.strength = 0;
  spec.friction = {0, 0, 1.3, 1};
  spec.drag = {100, 2};
  spec.n_spinners = 0;
  spec.temperature = 1;
  spec.time_step = 1e-3;
  spec.n_steps = 2000;
  for (const auto equation : {DynamicsSpec::Equation::kLagged, DynamicsSpec::Equation::kBrownian}) {
    spec.dynamics.equation = equation;
    const auto device = TestDevice(1);
    const auto ensemble = device->NewEnsemble(std::vector{spec});
    for (int t = 1; t <= 2; ++t) {
      ensemble->Advance(1000);
      double sum = 0, squares = 0;
      for (const Bead& bead : ensemble->Beads(0)) {
        sum += std::cos(bead.angle);
        squares += std::cos(bead.angle) * std::cos(bead.angle);
      }
      const double n = static_cast<double>(spec.n_beads), mean = sum / n;
      EXPECT_NEAR(mean, std::exp(-0.5 * t), 4 * std::sqrt((squares / n - mean * mean) / n));
    }
  }
}

}  // namespace
}  // namespace gyrebox
