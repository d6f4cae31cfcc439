// Exact results for beads coupled by friction alone, and the energy balance. Throughout, the friction of a pair at
// distance 1 is the stated one, translational drag is 3, rotational drag is 1, and a driven bead feels a torque of 1.
#include "reference/reference.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "beds.h"

namespace gyrebox::reference {
namespace {

using kernels::DriveSpec;
using kernels::RunSpec;

constexpr double kExact = 1e-10;
constexpr double kTable = 0.6e-8;  // half of the last digit given
constexpr Imposed kTorque{DriveSpec::Quantity::kTorque, 1};

RunSpec FrictionOnly(double tangential_at_contact) {
  RunSpec spec;
  spec.force.strength = 0;
  spec.drag = {.translational = 3, .rotational = 1};
  spec.friction.normal = 0;
  spec.friction.tangential = tangential_at_contact / (1 - 1 / spec.friction.cutoff);
  return spec;
}

// A centre and a ring of six beads at distance 1.
std::vector<Bead> Hexagon(bool centre_driven, bool ring_driven) {
  std::vector<Bead> beads = {{0, 0, centre_driven}};
  for (int k = 0; k < 6; ++k) {
    const double angle = k * std::numbers::pi / 3;
    beads.push_back({std::cos(angle), std::sin(angle), ring_driven});
  }
  return beads;
}

// Velocity of a bead about the origin, counter-clockwise, and radially outwards.
double Tangential(const Bead& bead, const Eigen::VectorXd& motion, int i) {
  return (bead.x * motion(3 * i + 1) - bead.y * motion(3 * i)) / std::hypot(bead.x, bead.y);
}
double Radial(const Bead& bead, const Eigen::VectorXd& motion, int i) {
  return (bead.x * motion(3 * i) + bead.y * motion(3 * i + 1)) / std::hypot(bead.x, bead.y);
}

// Exact: w = T / (zeta_r + g zeta / (2 (zeta + 2 g))), orbit rate w 2 g / (zeta + 2 g).
TEST(FrictionPair, BothDriven) {
  const std::vector<Bead> beads = {{0, 0, true}, {1, 0, true}};
  const auto v = Balance(FrictionOnly(2), beads, kTorque).Solve();
  EXPECT_NEAR(v(2), 0.7, kExact);
  EXPECT_NEAR(v(5), 0.7, kExact);
  EXPECT_NEAR(v(4) - v(1), 0.4, kExact);
  EXPECT_NEAR(v(0), 0, kExact);
  EXPECT_NEAR(v(3), 0, kExact);
}

TEST(FrictionPair, OrbitsAtTheSameRateInEveryDirection) {
  for (double angle = 0; angle < 6.3; angle += 0.37) {
    const std::vector<Bead> beads = {{2, 3, true}, {2 + std::cos(angle), 3 + std::sin(angle), true}};
    const auto v = Balance(FrictionOnly(2), beads, kTorque).Solve();
    EXPECT_NEAR(std::cos(angle) * (v(4) - v(1)) - std::sin(angle) * (v(3) - v(0)), 0.4, kExact);
    EXPECT_NEAR(v(2), 0.7, kExact);
  }
}

// Exact: the passive partner turns the other way, like a gear.
TEST(FrictionPair, OneDriven) {
  const std::vector<Bead> beads = {{0, 0, true}, {1, 0, false}};
  const auto v = Balance(FrictionOnly(2), beads, kTorque).Solve();
  EXPECT_NEAR(v(2), 0.85, kExact);
  EXPECT_NEAR(v(5), -0.15, kExact);
  EXPECT_NEAR(v(4) - v(1), 0.2, kExact);
}

// Exact: counter-rotating surfaces do not slip, so opposite torques on the two beads are balanced by rotational drag
// alone.
TEST(FrictionPair, OppositeSpinsFeelNoForce) {
  const std::vector<Bead> beads = {{0, 0, true}, {1, 0, true}};
  const Balance balance(FrictionOnly(2), beads, kTorque);
  Eigen::VectorXd opposite = Eigen::VectorXd::Zero(6);
  opposite(2) = 1, opposite(5) = -1;
  const Eigen::VectorXd needed = balance.matrix() * opposite;
  EXPECT_LT((needed - opposite).norm(), kExact);
}

// Computed separately.
TEST(FrictionCluster, TriangleOfThreeDriven) {
  const std::vector<Bead> beads = {{0, 0, true}, {1, 0, true}, {0.5, std::numbers::sqrt3 / 2, true}};
  const auto v = Balance(FrictionOnly(2), beads, kTorque).Solve();
  for (int i = 0; i < 3; ++i) {
    EXPECT_NEAR(v(3 * i + 2), 0.6, kExact);
    const Bead arm = {beads[i].x - 0.5, beads[i].y - std::numbers::sqrt3 / 6, true};
    EXPECT_NEAR(Tangential(arm, v, i), 0.4 / std::numbers::sqrt3, kExact);
    EXPECT_NEAR(Radial(arm, v, i), 0, kExact);
  }
}

struct HexagonCase {
  double friction, centre_spin, ring_spin, ring_speed;
};

void ExpectHexagon(const HexagonCase& c, bool ring_driven) {
  const auto beads = Hexagon(true, ring_driven);
  const auto v = Balance(FrictionOnly(c.friction), beads, kTorque).Solve();
  EXPECT_NEAR(v(2), c.centre_spin, kTable);
  for (int i = 1; i < 7; ++i) {
    EXPECT_NEAR(v(3 * i + 2), c.ring_spin, kTable);
    EXPECT_NEAR(Tangential(beads[i], v, i), c.ring_speed, kTable);
    EXPECT_NEAR(Radial(beads[i], v, i), 0, kExact);  // exact: transverse friction has no radial component
  }
}

// Computed separately.
TEST(FrictionCluster, SevenDriven) {
  ExpectHexagon({0.5, 0.41935484, 0.65161290, 0.14838710}, true);
  ExpectHexagon({2, 0.25773196, 0.44329897, 0.22680412}, true);
  ExpectHexagon({20, 0.26883309, 0.30206795, 0.27326440}, true);
}

// Computed separately. With growing friction the ring turns with the centre.
TEST(FrictionCluster, DrivenCentreOfAPassiveHexagon) {
  ExpectHexagon({0.5, 0.61290323, -0.03225806, 0.03225806}, false);
  ExpectHexagon({2, 0.31958763, -0.01030928, 0.04123711}, false);
  ExpectHexagon({20, 0.08050222, 0.03138848, 0.04062038}, false);
}

std::vector<Bead> Crystal(RunSpec& spec, int columns, int rows) {
  spec.side_x = columns;
  spec.side_y = rows * std::numbers::sqrt3 / 2;
  std::vector<Bead> beads;
  for (int row = 0; row < rows; ++row) {
    for (int column = 0; column < columns; ++column) {
      beads.push_back({column + 0.5 * (row % 2), row * std::numbers::sqrt3 / 2, false});
    }
  }
  return beads;
}

// Exact: w = T / (zeta_r + 3 g).
TEST(FrictionCrystal, AllDrivenTurnsWithoutTranslating) {
  RunSpec spec = FrictionOnly(2);
  auto beads = Crystal(spec, 8, 8);
  for (Bead& bead : beads) bead.spinner = true;
  const auto v = Balance(spec, beads, kTorque).Solve();
  for (int i = 0; i < 64; ++i) {
    EXPECT_NEAR(v(3 * i), 0, kExact);
    EXPECT_NEAR(v(3 * i + 1), 0, kExact);
    EXPECT_NEAR(v(3 * i + 2), 1.0 / 7, kExact);
  }
}

// Computed separately.
TEST(FrictionCrystal, OneDrivenAmongPassive) {
  RunSpec spec = FrictionOnly(2);
  auto beads = Crystal(spec, 30, 30);
  const int driven = 15 * 30 + 15, right = driven + 1;
  beads[driven].spinner = true;
  const auto v = Balance(spec, beads, kTorque).Solve();
  EXPECT_NEAR(v(3 * driven + 2), 0.31343551, kTable);
  EXPECT_NEAR(v(3 * right + 2), -0.02348955, kTable);
  EXPECT_NEAR(v(3 * right), 0, kTable);
  EXPECT_NEAR(v(3 * right + 1), 0.03054556, kTable);
}

struct DenseBed {
  RunSpec spec = DenseSpec(90);
  std::vector<Bead> beads = BeadsOf(spec, kernels::GenerateInitialState(spec));
};

void ExpectEnergyBalance(const Balance& balance) {
  const auto power = balance.PowerOf(balance.Solve());
  const double taken = power.drive + power.thermal, given = power.drag + power.friction + power.conservative;
  EXPECT_NEAR(taken, given, 1e-10 * (std::abs(power.drive) + power.drag + power.friction));
  EXPECT_GT(power.drag, 0);
  EXPECT_GT(power.friction, 0);
}

// Exact.
TEST(Energy, BalancesUnderAnImposedTorque) {
  const DenseBed bed;
  ExpectEnergyBalance(Balance(bed.spec, bed.beads, {DriveSpec::Quantity::kTorque, 15}));
}

// Exact.
TEST(Energy, BalancesUnderAnImposedRate) {
  const DenseBed bed;
  ExpectEnergyBalance(Balance(bed.spec, bed.beads, {DriveSpec::Quantity::kRate, 20}));
}

// Exact.
TEST(Energy, BalancesWithNoise) {
  DenseBed bed;
  bed.spec.temperature = 0.5;
  const Balance balance(bed.spec, bed.beads, {DriveSpec::Quantity::kRate, 20}, 17);
  ExpectEnergyBalance(balance);
  EXPECT_GT(std::abs(balance.PowerOf(balance.Solve()).thermal), 1);
}

TEST(Energy, GrowsAtTheRateOfTheConservativePower) {
  DenseBed bed;
  const Imposed drive{DriveSpec::Quantity::kRate, 20};
  const Balance balance(bed.spec, bed.beads, drive);
  const auto motion = balance.Solve();
  const auto energy_at = [&](double time) {
    auto beads = bed.beads;
    RunSpec spec = bed.spec;
    spec.time_step = time;
    Move(spec, motion, beads);
    return Balance(spec, beads, drive).energy();
  };
  const double h = 1e-5;
  const double rate = (energy_at(h) - energy_at(-h)) / (2 * h);
  EXPECT_NEAR(rate, balance.PowerOf(motion).conservative, 1e-5 * std::abs(rate));
}

TEST(Solution, IsAFixedPointOfASweep) {
  DenseBed bed;
  bed.spec.temperature = 0.002;
  for (const auto quantity : {DriveSpec::Quantity::kRate, DriveSpec::Quantity::kTorque}) {
    const Balance balance(bed.spec, bed.beads, {quantity, 20});
    const Eigen::VectorXd solved = balance.Solve();
    EXPECT_LT((balance.Sweep(solved) - solved).norm(), 1e-10 * solved.norm());
    EXPECT_GT((balance.Sweep(0 * solved) - solved).norm(), 1e-3 * solved.norm());
  }
}

TEST(Solution, IsTheLimitOfSweeps) {
  const DenseBed bed;
  const Balance balance(bed.spec, bed.beads, {DriveSpec::Quantity::kRate, 20});
  const Eigen::VectorXd solved = balance.Solve();
  Eigen::VectorXd swept = 0 * solved;
  for (int k = 0; k < 200; ++k) swept = balance.Sweep(swept);
  EXPECT_LT((swept - solved).norm(), 1e-8 * solved.norm());
}

// Exact: forces between beads cancel, so drag and random forces on all beads sum to zero.
TEST(Solution, HasNoNetDrag) {
  const DenseBed bed;
  const Eigen::VectorXd motion = Balance(bed.spec, bed.beads, {DriveSpec::Quantity::kRate, 20}).Solve();
  double x = 0, y = 0, speeds = 0;
  for (Eigen::Index i = 0; i < motion.size(); i += 3) {
    x += motion(i);
    y += motion(i + 1);
    speeds += std::hypot(motion(i), motion(i + 1));
  }
  EXPECT_NEAR(x, 0, 1e-11 * speeds);
  EXPECT_NEAR(y, 0, 1e-11 * speeds);
}

// Exact: covariance 2 kT (Z + Gamma) / dt of the random force, here along a given direction in the space of all
// motions.
TEST(RandomForce, HasTheVarianceOfTheFriction) {
  DenseBed bed;
  bed.spec.temperature = 0.3;
  Eigen::VectorXd direction(3 * 90);
  for (Eigen::Index row = 0; row < direction.size(); ++row)
    direction(row) = std::sin(1.0 + 2.0 * static_cast<double>(row));
  double sum = 0;
  const int samples = 2000;
  double expected = 0;
  for (int step = 0; step < samples; ++step) {
    const Balance balance(bed.spec, bed.beads, {}, step);
    expected = 2 * bed.spec.temperature / bed.spec.time_step * direction.dot(balance.matrix() * direction);
    sum += std::pow(balance.thermal().dot(direction), 2);
  }
  // A sum of many numbers is nearly normal: its square has a relative standard error of sqrt(2 / samples).
  EXPECT_NEAR(sum / samples / expected, 1, 5 * std::sqrt(2.0 / samples));
}

TEST(Step, WrapsIntoTheDomainAndLetsALoneBeadRest) {
  RunSpec spec = FrictionOnly(2);
  spec.side_x = spec.side_y = 10;
  std::vector<Bead> beads = {{9.99, 0.01, false}};
  Eigen::VectorXd motion(3);
  motion << 100, -100, 0;
  spec.time_step = 1e-3;
  Move(spec, motion, beads);
  EXPECT_NEAR(beads[0].x, 0.09, 1e-12);
  EXPECT_NEAR(beads[0].y, 9.91, 1e-12);
  Motions motions(1);
  TakeStep(spec, Method::kDirect, 0, beads, motions);
  EXPECT_EQ(motions.last.norm(), 0);
}

}  // namespace
}  // namespace gyrebox::reference
