/// The device that tests run on.
#pragma once

#include <memory>

#include "cuda/driver.h"
#include "gyrebox/device.h"

namespace gyrebox {

/// The device named by GYREBOX_TEST_DEVICE: "cpu" where it is not set; "cuda"; or "lone", which runs the passes of the
/// CUDA backend on the host, one thread to a bed. Throws std::runtime_error where there is none.
std::unique_ptr<kernels::Device> TestDevice(int threads = 1);

/// The driver under it; that of "lone" where tests run on the CPU.
std::shared_ptr<kernels::cuda::Driver> TestDriver();

}  // namespace gyrebox
