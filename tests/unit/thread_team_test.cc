// The CUDA backend's passes on several threads: the bits equal those of one thread for any number of threads and
// blocks. deploy/test also runs this under the thread sanitizer.
#include "thread_team.h"

#include <gtest/gtest.h>
#include <tbb/global_control.h>

#include "beds.h"
#include "cuda/cuda_device.h"
#include "host_driver.h"
#include "runs.h"

namespace gyrebox::kernels::cuda {
namespace {

std::vector<Outcome> By(const ThreadTeams& teams, const std::vector<RunSpec>& specs, std::size_t resident_bytes) {
  // Runs the host part of an ensemble on one thread: the sanitizer does not see the synchronisation of TBB workers.
  const tbb::global_control control(tbb::global_control::max_allowed_parallelism, 1);
  const auto device = NewDevice(std::make_shared<HostDriver<ThreadTeams>>(resident_bytes, teams), 0);
  return Outcomes(*device, specs, 40);
}

void ExpectSameByEveryTeam(const std::vector<RunSpec>& specs) {
  for (const std::size_t resident_bytes : {kUsualResidentBytes, std::size_t{0}}) {
    const auto alone = By(ThreadTeams(1, 1), specs, resident_bytes);
    for (const Outcome& outcome : alone) {
      ASSERT_EQ(outcome.last.verdict, Verdict::kFinished)
          << (outcome.last.fault ? outcome.last.fault->message : std::string("no fault"));
    }
    for (const auto& [blocks, threads] : {std::pair{1u, 8u}, {4u, 2u}, {8u, 1u}}) {
      const auto team = By(ThreadTeams(blocks, threads), specs, resident_bytes);
      for (std::size_t i = 0; i < specs.size(); ++i) {
        SCOPED_TRACE(testing::Message() << blocks << " blocks of " << threads << ", bed " << i << ", resident bytes "
                                        << resident_bytes);
        ASSERT_NO_FATAL_FAILURE(ExpectSameBits(team[i], alone[i]));
      }
    }
  }
}

RunSpec Driven(std::int64_t n_beads, DynamicsSpec::Equation equation) {
  RunSpec spec = DenseSpec(n_beads);
  spec.n_steps = 12;
  spec.temperature = 0.005;
  spec.dynamics.equation = equation;
  spec.measure.interval_steps = 5;
  spec.measure.structure_every = 2;
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, 40, 2}, {}};
  return spec;
}

TEST(ThreadTeam, StepsAndMeasuresEveryDynamicsWithTheBitsOfOneThread) {
  std::vector<RunSpec> specs = {Driven(90, DynamicsSpec::Equation::kLagged),
                                Driven(70, DynamicsSpec::Equation::kConverged),
                                Driven(80, DynamicsSpec::Equation::kBrownian)};
  // Drags alone are stiff: the stability limit of a second-order step is half that of Euler's.
  specs.back().time_step = 1e-4;
  specs.push_back(specs[0]);
  specs.back().temperature = 0;
  specs.back().drive.quantity = DriveSpec::Quantity::kTorque;
  specs.back().drive.disorder = {.amplitude_spread = 0.2, .frequency_spread = 0.1, .jitter = 0.1};
  ExpectSameByEveryTeam(specs);
}

// Lists that overflow, and clusters that all threads join at once.
TEST(ThreadTeam, JoinsOneLargeClusterWithTheBitsOfOneThread) {
  RunSpec spec = Driven(160, DynamicsSpec::Equation::kLagged);
  spec.n_spinners = 140;
  spec.friction.cutoff = 2;
  spec.friction.tangential = spec.friction.normal = 0.2;
  ExpectSameByEveryTeam({spec});
}

// Passes a barrier so often that an overflowing counter would show.
void ExpectBarrierHolds(std::uint32_t blocks, std::uint32_t passes) {
  std::vector<std::uint32_t> at(blocks, 0);
  std::atomic<int> early = 0;
  ThreadTeams(blocks, 1).Together([&](auto& team) {
    for (std::uint32_t pass = 1; pass <= passes; ++pass) {
      at[team.rank()] = pass;
      team.Sync();
      for (const std::uint32_t other : at) early += other == pass ? 0 : 1;
      team.Sync();
    }
  });
  EXPECT_EQ(early, 0);
}

TEST(Barrier, LetsNoBlockGoOnEarly) {
  ExpectBarrierHolds(2, 300);
  ExpectBarrierHolds(3, 300);
  ExpectBarrierHolds(7, 100);
}

// However often the barrier is passed, its word takes only two values at rest, so it cannot overflow.
TEST(Barrier, DoesNotAccumulateACount) {
  for (const std::uint32_t blocks : {2u, 3u, 7u, 396u, 1056u}) {
    for (const std::uint32_t last : {0u, 1u, blocks - 1}) {  // the block that arrives last
      std::uint32_t number = 0;
      for (int pass = 0; pass < 5; ++pass) {
        const std::uint32_t first = number;
        for (std::uint32_t block = 0; block < blocks; ++block) {
          if (block == last) continue;
          const std::uint32_t before = number;
          number += Arrival(block, blocks);
          ASSERT_FALSE(HaveArrived(before, number));
          ASSERT_FALSE(HaveArrived(first, number));
        }
        const std::uint32_t before = number;
        number += Arrival(last, blocks);
        ASSERT_TRUE(HaveArrived(before, number));
        ASSERT_TRUE(HaveArrived(first, number));
        ASSERT_EQ(number, pass % 2 == 0 ? kBarrierBit : 0u);
      }
    }
  }
}

}  // namespace
}  // namespace gyrebox::kernels::cuda
