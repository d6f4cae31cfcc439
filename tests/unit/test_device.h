/// The device that tests run on.
#pragma once

#include <memory>

#include "cuda/driver.h"
#include "gyrebox/device.h"

namespace gyrebox {

/// The device named by GYREBOX_TEST_DEVICE: "cpu" if unset; "cuda"; or "serial", which runs the passes of the CUDA
/// backend on the host, one thread per bed. Throws std::runtime_error if it is unavailable.
std::unique_ptr<kernels::Device> TestDevice(int threads = 1);

/// The driver of that device; the "serial" one where tests run on the CPU.
std::shared_ptr<kernels::cuda::Driver> TestDriver();

}  // namespace gyrebox
