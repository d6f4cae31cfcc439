/// Opens the CUDA module.
#pragma once

#include <memory>
#include <string>

#include "gyrebox/device.h"

namespace gyrebox::kernels::cuda {

class Driver;

/// A device over a driver, such as that of the module, or one of a test.
std::unique_ptr<Device> NewDevice(std::shared_ptr<Driver> driver, int index);

/// Opens device `index` by the module, which is sought beside the program, in ../lib, and where the system looks.
OpenedDevice Open(int index);
/// Its driver alone; null where there is none, and why in `reason`.
std::shared_ptr<Driver> OpenDriver(int index, std::string& reason);

}  // namespace gyrebox::kernels::cuda
