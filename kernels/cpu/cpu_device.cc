#include "cpu/cpu_device.h"

#include <tbb/task_arena.h>
#include <unistd.h>

#include <fstream>
#include <stdexcept>
#include <thread>

#include "cpu/ensemble.h"

namespace gyrebox::kernels {
namespace {

// Beds may use half of the machine's memory; the rest is for the server, its streams and its stored data.
constexpr double kMemoryFraction = 0.5;

std::string ProcessorModel() {
  std::ifstream info("/proc/cpuinfo");
  for (std::string line; std::getline(info, line);) {
    if (line.rfind("model name", 0) == 0) return line.substr(line.find(':') + 2);
  }
  return "x86-64 processor";
}

class CpuDevice : public Device {
 public:
  explicit CpuDevice(int threads)
      : code_(BestStepCode()), threads_(threads), arena_(std::make_shared<tbb::task_arena>(threads)) {}

  std::string name() const override { return "cpu"; }
  std::string description() const override {
    return ProcessorModel() + ", " + std::to_string(threads_) + (threads_ == 1 ? " thread, " : " threads, ") +
           code_.name;
  }
  int thread_count() const override { return threads_; }
  std::int64_t memory_bytes() const override {
    return static_cast<std::int64_t>(kMemoryFraction * static_cast<double>(sysconf(_SC_PHYS_PAGES)) *
                                     static_cast<double>(sysconf(_SC_PAGE_SIZE)));
  }

  std::int64_t BytesOf(const RunSpec& spec) const override { return CpuBytesOf(spec); }

  std::unique_ptr<Ensemble> NewEnsemble(std::span<const RunSpec> specs) override {
    for (const RunSpec& spec : specs) {
      const std::vector<SpecFault> faults = Validate(spec);
      if (!faults.empty()) throw std::invalid_argument(faults[0].field + ": " + faults[0].reason);
    }
    return std::make_unique<CpuEnsemble>(specs, code_, arena_);
  }

 private:
  const StepCode& code_;
  int threads_;
  std::shared_ptr<tbb::task_arena> arena_;
};

}  // namespace

std::unique_ptr<Device> NewCpuDevice(int threads) {
  if (threads <= 0) threads = static_cast<int>(std::max(1u, std::thread::hardware_concurrency()));
  return std::make_unique<CpuDevice>(threads);
}

}  // namespace gyrebox::kernels
