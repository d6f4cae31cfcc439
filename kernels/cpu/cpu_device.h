/// The CPU as a device.
#pragma once

#include <memory>

#include "gyrebox/device.h"

namespace gyrebox::kernels {

/// @param threads 0 means all. Throws std::runtime_error on a processor without AVX2 and FMA.
std::unique_ptr<Device> NewCpuDevice(int threads);

}  // namespace gyrebox::kernels
