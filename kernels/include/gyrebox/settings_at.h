/// Settings of a run at chosen steps.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/run_spec.h"
#include "gyrebox/settings.h"

namespace gyrebox::kernels {

/// The settings at each step, after the adjustments that take effect there. @param steps not decreasing.
std::vector<Settings> SettingsAt(const RunSpec& spec, std::span<const std::int64_t> steps);

}  // namespace gyrebox::kernels
