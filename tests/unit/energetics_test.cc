#include "measure/pairs/energetics.h"

#include <gtest/gtest.h>

#include "beds.h"
#include "runs.h"
#include "snapshots.h"

namespace gyrebox::kernels {
namespace {

struct LawCase {
  const char* name;
  ForceSpec force;
};
const LawCase kLaws[] = {
    {"Exponential", {ForceSpec::Law::kExponential, 20, 0.05, 1.3}},
    {"Soft", {ForceSpec::Law::kSoft, 25, 1, 1}},
    {"Wca", {ForceSpec::Law::kWca, 1, 1, 1.122462048309373}},
    {"Harmonic", {ForceSpec::Law::kHarmonic, 200, 1, 1}},
    {"Yukawa", {ForceSpec::Law::kYukawa, 10, 0.125, 2}},
};

// A dense disordered bed with random motions and spins; a third of the beads are spinners, which spin alike.
struct MovingBed {
  RunSpec spec = DenseSpec(90, 0.75);
  Snapshot bed;

  explicit MovingBed(const ForceSpec& force = {}) {
    std::mt19937 random(1);
    std::normal_distribution<double> normal(0, 1);
    spec.force = force;
    spec.start.closest_pair = 0.85;
    const StartState start = GenerateInitialState(spec);
    EXPECT_EQ(start.failure, "");
    bed = EmptySnapshot(spec.side_x, spec.side_y);
    bed.friction = spec.friction;
    for (std::size_t i = 0; i < start.x.size(); ++i) {
      AddBeadAt(bed, start.x[i], start.y[i], start.spinner[i] != 0);
      bed.vx[i] = static_cast<float>(normal(random));
      bed.vy[i] = static_cast<float>(normal(random));
      bed.spin[i] = start.spinner[i] != 0 ? 7.5f : static_cast<float>(normal(random));
    }
  }
  Energetics Measure() const {
    CellList scratch;
    return MeasureEnergetics(bed, spec, scratch);
  }
  std::vector<reference::Bead> Beads() const {
    std::vector<reference::Bead> beads;
    for (std::size_t i = 0; i < bed.x.size(); ++i) {
      beads.push_back({FromFixed(bed.x[i], bed.side_x), FromFixed(bed.y[i], bed.side_y), bed.spinner[i] != 0});
    }
    return beads;
  }
  Eigen::VectorXd Motion() const {
    Eigen::VectorXd motion(3 * static_cast<Eigen::Index>(bed.x.size()));
    for (std::size_t i = 0; i < bed.x.size(); ++i) {
      motion.segment<3>(3 * static_cast<Eigen::Index>(i)) = Eigen::Vector3d(bed.vx[i], bed.vy[i], bed.spin[i]);
    }
    return motion;
  }
  void Scale(double along_x, double along_y) {
    spec.side_x *= along_x, bed.side_x *= along_x;
    spec.side_y *= along_y, bed.side_y *= along_y;
  }
  double Energy() const { return Measure().potential_energy * 90; }
};

TEST(PotentialEnergy, IsTheSumOverAllPairs) {
  for (const LawCase& law : kLaws) {
    const MovingBed moving(law.force);
    const reference::Balance balance(moving.spec, moving.Beads(), {});
    EXPECT_NEAR(moving.Measure().potential_energy, balance.energy() / 90, 1e-10 * balance.energy()) << law.name;
    EXPECT_GT(balance.energy(), 0.1) << law.name;
  }
}

// Exact: the stress is the derivative of the energy with respect to strain, per area.
TEST(Stress, IsTheStrainDerivativeOfTheEnergy) {
  const double h = 1e-5;
  for (const LawCase& law : kLaws) {
    const MovingBed moving(law.force);
    const double area = moving.bed.side_x * moving.bed.side_y;
    const Energetics found = moving.Measure();
    MovingBed wider = moving, narrower = moving, taller = moving, lower = moving;
    wider.Scale(1 + h, 1), narrower.Scale(1 - h, 1), taller.Scale(1, 1 + h), lower.Scale(1, 1 - h);
    EXPECT_NEAR(found.stress_xx * area, (wider.Energy() - narrower.Energy()) / (2 * h), 1e-4 * area) << law.name;
    EXPECT_NEAR(found.stress_yy * area, (taller.Energy() - lower.Energy()) / (2 * h), 1e-4 * area) << law.name;
    EXPECT_LT(found.stress_xx, -0.1) << law.name;
  }
}

// Exact: at zero temperature the pressure is minus the derivative of the energy with respect to area.
TEST(Pressure, IsMinusTheAreaDerivativeOfTheEnergy) {
  const double h = 1e-5;
  for (const LawCase& law : kLaws) {
    const MovingBed moving(law.force);
    MovingBed wider = moving, narrower = moving;
    wider.Scale(1 + h, 1 + h), narrower.Scale(1 - h, 1 - h);
    const double gain = wider.bed.side_x * wider.bed.side_y - narrower.bed.side_x * narrower.bed.side_y;
    EXPECT_NEAR(moving.Measure().pressure, (narrower.Energy() - wider.Energy()) / gain, 1e-4) << law.name;
  }
}

// Exact: beads out of contact have the pressure of an ideal gas.
TEST(Pressure, OfBeadsOutOfReachIsThatOfAnIdealGas) {
  Snapshot bed = TriangularCrystal(8, 8, 2);
  bed.temperature = 0.7;
  CellList scratch;
  RunSpec spec;
  const Energetics found = MeasureEnergetics(bed, spec, scratch);
  EXPECT_NEAR(found.pressure, 64 * 0.7 / (bed.side_x * bed.side_y), 1e-12);
  EXPECT_EQ(found.potential_energy, 0);
  EXPECT_EQ(found.stress_xx, 0);
}

// Exact for two beads on an inclined line: stress = -f r n n / area.
TEST(Stress, OfOnePairActsAlongIt) {
  Snapshot bed = EmptySnapshot(10, 20);
  AddBead(bed, 9.8, 5);
  AddBead(bed, 9.8 + 0.9 * 0.6, 5 - 0.9 * 0.8);
  RunSpec spec;
  CellList scratch;
  const Energetics found = MeasureEnergetics(bed, spec, scratch);
  const double virial = 0.9 * reference::PairForce(spec.force, 0.9);
  EXPECT_NEAR(found.stress_xx, -virial * 0.36 / 200, 1e-6);
  EXPECT_NEAR(found.stress_xy, virial * 0.48 / 200, 1e-6);
  EXPECT_NEAR(found.stress_yy, -virial * 0.64 / 200, 1e-6);
}

TEST(DrivePower, OfImposedRatesIsThatOfTheTorquesTheyNeed) {
  for (const int exponent : {1, 2}) {
    MovingBed moving;
    moving.spec.friction.exponent = exponent;
    moving.spec.drag.rotational = 0.6;
    moving.bed.friction = moving.spec.friction;
    const reference::Balance balance(moving.spec, moving.Beads(), {DriveSpec::Quantity::kRate, 7.5});
    const double power = balance.PowerOf(moving.Motion()).drive / 90;
    EXPECT_GT(power, 10);
    EXPECT_NEAR(moving.Measure().drive_power, power, 1e-9 * power) << exponent;
  }
}

TEST(DrivePower, OfImposedTorquesIsTorqueTimesSpin) {
  MovingBed moving;
  moving.spec.drive.quantity = DriveSpec::Quantity::kTorque;
  for (const std::uint8_t spinner : moving.bed.spinner) moving.bed.torque.push_back(spinner != 0 ? 3 : 0);
  const reference::Balance balance(moving.spec, moving.Beads(), {DriveSpec::Quantity::kTorque, 3});
  EXPECT_NEAR(moving.Measure().drive_power, balance.PowerOf(moving.Motion()).drive / 90, 1e-12);
}

TEST(DrivePower, OfBrownianBedsGoesIntoRotationalDragAlone) {
  MovingBed moving;
  moving.spec.dynamics.equation = DynamicsSpec::Equation::kBrownian;
  moving.spec.drag.rotational = 0.6;
  EXPECT_NEAR(moving.Measure().drive_power, 30 * 0.6 * 7.5 * 7.5 / 90, 1e-12);
}

// The current friction counts, not that of the spec.
TEST(DrivePower, FollowsAChangeOfFriction) {
  MovingBed moving;
  moving.bed.friction.tangential = 11;
  moving.spec.friction.tangential = 11;
  const double power = moving.Measure().drive_power;
  moving.spec.friction.tangential = 5;
  EXPECT_EQ(moving.Measure().drive_power, power);
}

TEST(Energetics, DoesNotDependOnOrderOrOrigin) {
  std::mt19937 random(2);
  MovingBed moving;
  const Energetics truth = moving.Measure();
  const Snapshot bed = moving.bed;
  for (const Snapshot& other : {Shuffled(bed, random), Shifted(bed, random)}) {
    moving.bed = other;
    const Energetics found = moving.Measure();
    EXPECT_NEAR(found.potential_energy, truth.potential_energy, 1e-12);
    EXPECT_NEAR(found.pressure, truth.pressure, 1e-12);
    EXPECT_NEAR(found.stress_xy, truth.stress_xy, 1e-12);
    EXPECT_NEAR(found.drive_power, truth.drive_power, 1e-9);
  }
}

// The drive's own torques enter the column: without friction and noise each spinner turns at torque over drag.
TEST(DrivePower, OfARunWithoutFrictionIsTorqueSquaredOverDrag) {
  for (const auto equation :
       {DynamicsSpec::Equation::kLagged, DynamicsSpec::Equation::kConverged, DynamicsSpec::Equation::kBrownian}) {
    RunSpec spec = DenseSpec(90, 0.5);
    spec.friction.tangential = 0;
    spec.dynamics.equation = equation;
    spec.dynamics.transverse_coupling = 0;
    spec.drag.rotational = 0.5;
    spec.drive.quantity = DriveSpec::Quantity::kTorque;
    spec.drive.wave.amplitude = 3;
    spec.n_steps = 10;
    const auto device = TestDevice(1);
    const auto ensemble = device->NewEnsemble(std::vector<RunSpec>{spec});
    const auto samples = ensemble->Advance(11)[0].samples;
    const double power = samples.back().values[ValueAt(ensemble->columns(0), "drive_power")];
    EXPECT_NEAR(power, 9 / 0.5 * 30 / 90, 1e-4);
  }
}

}  // namespace
}  // namespace gyrebox::kernels
