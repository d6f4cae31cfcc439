#include "gyrebox/device.h"

#include <charconv>
#include <stdexcept>

#include "cpu/cpu_device.h"
#include "cuda/cuda_device.h"

namespace gyrebox::kernels {
namespace {

OpenedDevice OpenCpu(int threads, const std::string& reason) {
  try {
    return {NewCpuDevice(threads), reason};
  } catch (const std::runtime_error& error) {
    return {nullptr, error.what()};
  }
}

// Device index in "cuda" (0) or "cuda:N"; -1 for any other name.
int CudaIndex(const std::string& name) {
  if (name == "cuda") return 0;
  if (name.rfind("cuda:", 0) != 0) return -1;
  int index = -1;
  const char* end = name.data() + name.size();
  const auto [stop, error] = std::from_chars(name.data() + 5, end, index);
  return error == std::errc() && stop == end ? index : -1;
}

}  // namespace

OpenedDevice OpenDevice(const std::string& name, int threads) {
  if (name == "cpu") return OpenCpu(threads, "asked for");
  if (name == "auto") {
    OpenedDevice cuda = cuda::Open(0);
    if (!cuda.device) return OpenCpu(threads, cuda.reason);
    cuda.reason = "there is a CUDA device";
    return cuda;
  }
  if (const int index = CudaIndex(name); index >= 0) return cuda::Open(index);
  return {nullptr, "no device is called '" + name + "'; one of auto, cpu, cuda, cuda:N"};
}

}  // namespace gyrebox::kernels
