/// Opens the CUDA module.
#pragma once

#include <memory>
#include <string>

#include "gyrebox/device.h"

namespace gyrebox::kernels::cuda {

class Driver;

/// A device on top of a driver, such as that of the module or of a test.
std::unique_ptr<Device> NewDevice(std::shared_ptr<Driver> driver, int index);

/// Opens device `index` through the module, which is searched for next to the program, in ../lib, and on the system's
/// library path.
OpenedDevice Open(int index);
/// Its driver alone; null if there is none, with the reason in `reason`.
std::shared_ptr<Driver> OpenDriver(int index, std::string& reason);

}  // namespace gyrebox::kernels::cuda
