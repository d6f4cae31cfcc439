// A CUDA module for a machine without a device, with faults set by environment variables. It does its work on the host,
// loses its device after GYREBOX_TEST_LAUNCHES launches, and fails allocations beyond GYREBOX_TEST_MEMORY_KIB without
// reporting that limit.
#include <atomic>
#include <cstdlib>
#include <limits>
#include <map>

#include "gyrebox/device.h"
#include "serial_driver.h"

namespace gyrebox::kernels::cuda {
namespace {

std::int64_t Asked(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? std::numeric_limits<std::int64_t>::max() : std::atoll(value);
}

class TroubledDriver : public SerialDriver {
 public:
  void* Allocate(std::size_t bytes) override {
    if ((used_ + static_cast<std::int64_t>(bytes)) >> 10 >= memory_kib_) throw std::bad_alloc();
    void* at = SerialDriver::Allocate(bytes);
    used_ += static_cast<std::int64_t>(bytes);
    blocks_[at] = static_cast<std::int64_t>(bytes);
    return at;
  }
  void Release(void* at) noexcept override {
    if (const auto found = blocks_.find(at); found != blocks_.end()) {
      used_ -= found->second;
      blocks_.erase(found);
    }
    SerialDriver::Release(at);
  }
  void Run(const Launch& launch) override {
    if (launches_left_-- <= 0) throw DeviceLost("an illegal address was met");
    SerialDriver::Run(launch);
  }

 private:
  const std::int64_t memory_kib_ = Asked("GYREBOX_TEST_MEMORY_KIB");
  std::int64_t launches_left_ = Asked("GYREBOX_TEST_LAUNCHES");
  std::int64_t used_ = 0;
  std::map<void*, std::int64_t> blocks_;
};

}  // namespace
}  // namespace gyrebox::kernels::cuda

extern "C" int gyrebox_cuda_version() { return gyrebox::kernels::cuda::kDriverVersion; }
extern "C" gyrebox::kernels::cuda::Driver* gyrebox_cuda_open(int, char*, std::size_t) {
  return new gyrebox::kernels::cuda::TroubledDriver();
}
