// How the host uses a device, checked by instrumented drivers.
#include <gtest/gtest.h>

#include <cstring>
#include <map>

#include "beds.h"
#include "beside_cpu.h"
#include "cuda/cuda_device.h"
#include "serial_driver.h"

namespace gyrebox::kernels::cuda {
namespace {

// Fills released memory with ones and never reuses it, so that a read after release yields NaN; counts allocations and
// launches.
class Watcher : public SerialDriver {
 public:
  using SerialDriver::SerialDriver;
  ~Watcher() override {
    for (const auto& [at, bytes] : released_) SerialDriver::Release(at);
  }
  void* Allocate(std::size_t bytes) override {
    void* at = SerialDriver::Allocate(bytes);
    held_[at] = bytes;
    bytes_ += bytes;
    max_bytes_ = std::max(max_bytes_, bytes_);
    return at;
  }
  void Release(void* at) noexcept override {
    const auto found = held_.find(at);
    if (found == held_.end()) return;
    std::memset(at, 0xff, found->second);
    bytes_ -= found->second;
    released_.insert(held_.extract(found));
  }
  void Run(const Launch& launch) override {
    if (launch.resident) {
      ++resident_launches_;
      EXPECT_LE(launch.shared_bytes, resident_bytes());
    } else {
      ++streamed_launches_;
      EXPECT_EQ(launch.shared_bytes, 0u);
    }
    SerialDriver::Run(launch);
  }

  std::size_t max_bytes() const { return max_bytes_; }
  int resident_launches() const { return resident_launches_; }
  int streamed_launches() const { return streamed_launches_; }

 private:
  std::map<void*, std::size_t> held_, released_;
  std::size_t bytes_ = 0, max_bytes_ = 0;
  int resident_launches_ = 0, streamed_launches_ = 0;
};

RunSpec Driven(std::int64_t n_beads, double packing_fraction, std::int64_t n_steps) {
  RunSpec spec = DenseSpec(n_beads, packing_fraction);
  spec.n_steps = n_steps;
  spec.temperature = 0.002;
  spec.measure.interval_steps = 1000;
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, 30, 2}, {}};
  return spec;
}

// Shared memory of a block: 99 KiB on compute capability 8.6, 163 KiB on 8.0 and 227 KiB on 9.0 (CUDA C++ Programming
// Guide, "Technical Specifications per Compute Capability"; from memory).
constexpr std::size_t kLimits[] = {101376, 166912, 232448};

TEST(SharedMemory, StaysWithinTheLimitOfTheDevice) {
  for (const std::size_t limit : kLimits) {
    for (const double packing_fraction : {0.70, 0.38, 0.20, 0.05}) {
      std::vector<RunSpec> specs;
      for (const std::int64_t n : {100, 1400, 1536, 2300, 2400, 2944, 3000, 3072}) {
        specs.push_back(Driven(n, packing_fraction, 2));
      }
      const auto driver = std::make_shared<Watcher>(limit);
      ExpectOutcomesOfTheCpu(*NewDevice(driver, 0), specs);
      EXPECT_GT(driver->resident_launches(), 0);
    }
  }
}

// Beds are resident exactly where they fit.
TEST(SharedMemory, DecidesWhichBedsAreResident) {
  struct Case {
    std::int64_t n_beads;
    double packing_fraction;
    bool resident[3];
  };
  // A bead takes 68 bytes, a cell 8, plus 4 overall: a sparse bed has nearly as many cells as beads.
  for (const Case& one : {Case{1376, 0.70, {true, true, true}}, Case{1536, 0.70, {false, true, true}},
                          Case{3072, 0.70, {false, false, true}}, Case{3000, 0.20, {false, false, true}},
                          Case{3072, 0.05, {false, false, false}}, Case{2016, 0.05, {false, true, true}}}) {
    for (int k = 0; k < 3; ++k) {
      const auto driver = std::make_shared<Watcher>(kLimits[k]);
      Outcomes(*NewDevice(driver, 0), {Driven(one.n_beads, one.packing_fraction, 1)}, 1);
      EXPECT_EQ(driver->streamed_launches() == 0, one.resident[k])
          << one.n_beads << " beads at " << one.packing_fraction << ", limit " << kLimits[k];
    }
  }
}

TEST(SharedMemory, RefusalDoesNotCountAsALostDevice) {
  class Refusing : public SerialDriver {
   public:
    void Run(const Launch&) override { throw LaunchRefused("stepping resident beds: invalid argument"); }
  };
  const auto device = NewDevice(std::make_shared<Refusing>(), 0);
  const auto ensemble = device->NewEnsemble(std::vector{Driven(100, 0.7, 10)});
  try {
    ensemble->Advance(10);
    FAIL() << "nothing was thrown";
  } catch (const DeviceLost&) {
    FAIL() << "the device counts as lost";
  } catch (const std::runtime_error& error) {
    EXPECT_STREQ(error.what(), "stepping resident beds: invalid argument");
  }
}

// A retry rolls back to before spinners differ: released per-spinner drive memory must not be read.
TEST(OwnDriveMemory, IsNotReadAfterRelease) {
  RunSpec spec = Driven(200, 0.7, 60);
  spec.time_step = 4e-3;
  spec.drive.wave.amplitude = 40;
  spec.adjustments = {{3, 0, {}, {{Parameter::kAmplitudeSpread, 0.05, false}}}};
  spec.retry = {6, 4000};
  const auto watched = NewDevice(std::make_shared<Watcher>(), 0);
  const auto cpu = OpenDevice("cpu", 1).device;
  const Outcome found = Outcomes(*watched, {spec}, 100000)[0], expected = Outcomes(*cpu, {spec}, 100000)[0];
  ASSERT_EQ(found.last.verdict, Verdict::kFinished) << found.last.fault->message;
  ASSERT_FALSE(found.last.passed.empty());
  EXPECT_EQ(found.last.passed.size(), expected.last.passed.size());
  for (std::size_t i = 0; i < found.beads.size(); ++i) {
    if (!found.beads[i].spinner) continue;
    ASSERT_NEAR(found.beads[i].spin, expected.beads[i].spin, 1e-4) << i;
  }
}

// For any sampling interval, memory beyond the beds' own estimate is bounded.
TEST(Tables, OfManyBedsExceedTheEstimateByABoundedAmount) {
  for (const std::int64_t interval : {1, 4096}) {
    std::vector<RunSpec> specs;
    std::int64_t told = 0;
    const auto driver = std::make_shared<Watcher>();
    const auto device = NewDevice(driver, 0);
    for (int i = 0; i < 200; ++i) {
      specs.push_back(Driven(8, 0.3, interval == 1 ? 200 : 4100));
      specs.back().seeds.positions = static_cast<std::uint64_t>(i) + 1;
      specs.back().measure.interval_steps = interval;
      specs.back().measure.structure_every = 1 << 20;
      specs.back().temperature = 0;
      told += device->BytesOf(specs.back());
    }
    device->NewEnsemble(specs)->Advance(4100);
    EXPECT_LT(static_cast<double>(driver->max_bytes()), static_cast<double>(told) + (96 << 20))
        << "interval " << interval;
  }
}

}  // namespace
}  // namespace gyrebox::kernels::cuda
