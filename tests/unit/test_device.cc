#include "test_device.h"

#include <cstdlib>
#include <cstring>
#include <stdexcept>

#include "cuda/cuda_device.h"
#include "serial_driver.h"

namespace gyrebox {

std::unique_ptr<kernels::Device> TestDevice(int threads) {
  const char* name = std::getenv("GYREBOX_TEST_DEVICE");
  if (name != nullptr && std::strcmp(name, "serial") == 0) {
    return kernels::cuda::NewDevice(std::make_shared<kernels::cuda::SerialDriver>(), 0);
  }
  kernels::OpenedDevice opened = kernels::OpenDevice(name == nullptr ? "cpu" : name, threads);
  if (opened.device == nullptr) throw std::runtime_error(opened.reason);
  return std::move(opened.device);
}

std::shared_ptr<kernels::cuda::Driver> TestDriver() {
  const char* name = std::getenv("GYREBOX_TEST_DEVICE");
  if (name == nullptr || std::strncmp(name, "cuda", 4) != 0) return std::make_shared<kernels::cuda::SerialDriver>();
  std::string reason;
  auto driver = kernels::cuda::OpenDriver(0, reason);
  if (driver == nullptr) throw std::runtime_error(reason);
  return driver;
}

}  // namespace gyrebox
