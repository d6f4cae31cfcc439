#include "gyrebox/device.h"

#include <stdexcept>

#include "cpu/cpu_device.h"

namespace gyrebox::kernels {
namespace {

OpenedDevice OpenCpu(int threads, const std::string& reason) {
  try {
    return {NewCpuDevice(threads), reason};
  } catch (const std::runtime_error& error) {
    return {nullptr, error.what()};
  }
}

}  // namespace

OpenedDevice OpenDevice(const std::string& name, int threads) {
  constexpr const char* kNoCuda = "this build has no CUDA backend";
  if (name == "cpu") return OpenCpu(threads, "asked for");
  if (name == "auto") return OpenCpu(threads, kNoCuda);
  if (name == "cuda" || name.rfind("cuda:", 0) == 0) return {nullptr, kNoCuda};
  return {nullptr, "no device is called '" + name + "'; one of auto, cpu, cuda, cuda:N"};
}

}  // namespace gyrebox::kernels
