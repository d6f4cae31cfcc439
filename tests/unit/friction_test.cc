#include "model/friction.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <random>

namespace gyrebox::kernels {
namespace {

class RandomSource {
 public:
  explicit RandomSource(unsigned seed) : random_(seed) {}
  double operator()(double low, double high) { return std::uniform_real_distribution<double>(low, high)(random_); }
  Motion<double> RandomMotion() { return {(*this)(-3, 3), (*this)(-3, 3), (*this)(-20, 20)}; }

 private:
  std::mt19937_64 random_;
};

struct PairOfBeads {
  double nx, ny, r, across, along;
  Motion<double> i, j;
};

PairOfBeads RandomPair(RandomSource& chance) {
  const double angle = chance(0, 6.2831853);
  return {std::cos(angle), std::sin(angle),       chance(0.8, 1.3),     chance(0, 5),
          chance(0, 5),    chance.RandomMotion(), chance.RandomMotion()};
}

// Friction force on a bead: right-hand side minus its own block times its motion.
Motion<double> FrictionOn(const Motion<double>& own, const Motion<double>& other, double nx, double ny,
                          const PairOfBeads& pair) {
  BalanceRow<double> row(0, 0);
  row.AddFriction(nx, ny, pair.across, pair.along, pair.r / 2, pair.r / 2, other);
  const Motion<double> left = row.Product(own);
  return {row.fx - left.vx, row.fy - left.vy, row.torque - left.spin};
}

TEST(PairFriction, ConservesLinearAndAngularMomentum) {
  RandomSource chance(1);
  for (int k = 0; k < 1000; ++k) {
    const PairOfBeads pair = RandomPair(chance);
    const auto on_i = FrictionOn(pair.i, pair.j, pair.nx, pair.ny, pair);
    const auto on_j = FrictionOn(pair.j, pair.i, -pair.nx, -pair.ny, pair);
    ASSERT_NEAR(on_i.vx + on_j.vx, 0, 1e-12);
    ASSERT_NEAR(on_i.vy + on_j.vy, 0, 1e-12);
    // About the position of i: j sits at r n.
    const double orbital = pair.r * (pair.nx * on_j.vy - pair.ny * on_j.vx);
    ASSERT_NEAR(on_i.spin + on_j.spin + orbital, 0, 1e-12);
    ASSERT_NEAR(on_i.spin, on_j.spin, 1e-12);
  }
}

// Exact: a pair that moves as a rigid body has no slip.
TEST(PairFriction, LeavesARigidMotionAlone) {
  RandomSource chance(2);
  for (int k = 0; k < 1000; ++k) {
    PairOfBeads pair = RandomPair(chance);
    pair.j = {pair.i.vx - pair.i.spin * pair.r * pair.ny, pair.i.vy + pair.i.spin * pair.r * pair.nx, pair.i.spin};
    const auto on_i = FrictionOn(pair.i, pair.j, pair.nx, pair.ny, pair);
    ASSERT_NEAR(on_i.vx, 0, 1e-11);
    ASSERT_NEAR(on_i.vy, 0, 1e-11);
    ASSERT_NEAR(on_i.spin, 0, 1e-11);
  }
}

// Exact: the law F_i = -gamma_t w slip t - gamma_n w (n.(v_i - v_j)) n.
TEST(PairFriction, FollowsItsLaw) {
  RandomSource chance(3);
  for (int k = 0; k < 1000; ++k) {
    const PairOfBeads p = RandomPair(chance);
    const auto on_i = FrictionOn(p.i, p.j, p.nx, p.ny, p);
    const double ux = p.i.vx - p.j.vx, uy = p.i.vy - p.j.vy;
    const double slip = -ux * p.ny + uy * p.nx + p.r / 2 * (p.i.spin + p.j.spin);
    const double closing = ux * p.nx + uy * p.ny;
    ASSERT_NEAR(on_i.vx, p.across * slip * p.ny - p.along * closing * p.nx, 1e-11);
    ASSERT_NEAR(on_i.vy, -p.across * slip * p.nx - p.along * closing * p.ny, 1e-11);
    ASSERT_NEAR(on_i.spin, -p.across * slip * p.r / 2, 1e-11);
  }
}

TEST(PairForce, IsOppositeOnTheTwoBeadsToTheBit) {
  RandomSource chance(4);
  for (int k = 0; k < 1000; ++k) {
    const PairOfBeads p = RandomPair(chance);
    BalanceRow<float> i(0.f, 0.f), j(0.f, 0.f);
    const float nx = static_cast<float>(p.nx), ny = static_cast<float>(p.ny), arm = static_cast<float>(p.r / 2);
    const float along = static_cast<float>(p.along), across = static_cast<float>(p.across);
    i.AddPairForce(nx, ny, along, across, arm);
    j.AddPairForce(-nx, -ny, along, across, arm);
    ASSERT_EQ(i.fx, -j.fx);
    ASSERT_EQ(i.fy, -j.fy);
    ASSERT_EQ(i.torque, j.torque);
  }
}

BalanceRow<double> RandomRow(RandomSource& chance) {
  BalanceRow<double> row(chance(0.5, 2), chance(0.5, 2));
  for (int k = 0; k < 6; ++k) {
    const PairOfBeads p = RandomPair(chance);
    row.AddFriction(p.nx, p.ny, p.across, p.along, p.r / 2, p.r / 2, p.j);
    row.AddPairForce(p.nx, p.ny, chance(-9, 9), chance(-9, 9), p.r / 2);
  }
  row.AddBeadForce(chance(-5, 5), chance(-5, 5), chance(-5, 5));
  return row;
}

Eigen::Matrix3d BlockOf(const BalanceRow<double>& row) {
  Eigen::Matrix3d block;
  block << row.axx, row.axy, row.bx, row.axy, row.ayy, row.by, row.bx, row.by, row.c;
  return block;
}

TEST(BalanceRow, ProductIsThatOfItsMatrix) {
  RandomSource chance(5);
  for (int k = 0; k < 1000; ++k) {
    const auto row = RandomRow(chance);
    const auto m = chance.RandomMotion();
    const Eigen::Vector3d truth = BlockOf(row) * Eigen::Vector3d(m.vx, m.vy, m.spin);
    const auto product = row.Product(m);
    ASSERT_LT((truth - Eigen::Vector3d(product.vx, product.vy, product.spin)).norm(), 1e-12 * (1 + truth.norm()));
  }
}

TEST(BalanceRow, SolveFreeSolvesAllThreeRows) {
  RandomSource chance(6);
  for (int k = 0; k < 1000; ++k) {
    const auto row = RandomRow(chance);
    const Eigen::Vector3d truth = BlockOf(row).llt().solve(Eigen::Vector3d(row.fx, row.fy, row.torque));
    const auto m = row.SolveFree();
    ASSERT_LT((truth - Eigen::Vector3d(m.vx, m.vy, m.spin)).norm(), 1e-12 * (1 + truth.norm()));
  }
}

TEST(BalanceRow, SolveWithSpinSolvesTheTwoRowsOfVelocity) {
  RandomSource chance(7);
  for (int k = 0; k < 1000; ++k) {
    const auto row = RandomRow(chance);
    const double spin = chance(-30, 30);
    const Eigen::Matrix3d block = BlockOf(row);
    const Eigen::Vector2d right = Eigen::Vector2d(row.fx, row.fy) - block.topRightCorner<2, 1>() * spin;
    const Eigen::Vector2d truth = block.topLeftCorner<2, 2>().llt().solve(right);
    const auto m = row.SolveWithSpin(spin);
    ASSERT_LT((truth - Eigen::Vector2d(m.vx, m.vy)).norm(), 1e-12 * (1 + truth.norm()));
    ASSERT_EQ(m.spin, spin);
  }
}

// Exact.
TEST(FrictionWeight, FallsFromOneToZeroAtItsCutoff) {
  for (const int exponent : {1, 2}) {
    const PairFriction<double> law(FrictionSpec{.cutoff = 1.3, .exponent = exponent});
    EXPECT_DOUBLE_EQ(law.Weight(0), 1);
    EXPECT_DOUBLE_EQ(law.Weight(0.65), std::pow(0.5, exponent));
    EXPECT_NEAR(law.Weight(1.3), 0, 1e-15);
    EXPECT_EQ(law.Weight(2), 0);
  }
}

// Exact: variance 2 gamma kT / dt (fluctuation-dissipation theorem).
TEST(NoiseAmplitudes, AreThoseOfTheirFrictions) {
  const NoiseAmplitudes<double> noise({.tangential = 5, .normal = 3}, {.translational = 1.5, .rotational = 0.7}, 0.2,
                                      1e-3);
  EXPECT_DOUBLE_EQ(noise.across * noise.across, 2 * 5 * 0.2 / 1e-3);
  EXPECT_DOUBLE_EQ(noise.along * noise.along, 2 * 3 * 0.2 / 1e-3);
  EXPECT_DOUBLE_EQ(noise.velocity * noise.velocity, 2 * 1.5 * 0.2 / 1e-3);
  EXPECT_DOUBLE_EQ(noise.spin * noise.spin, 2 * 0.7 * 0.2 / 1e-3);
}

}  // namespace
}  // namespace gyrebox::kernels
