/// Skin of the partner lists: their reach beyond the longest cut-off.
#pragma once

namespace gyrebox::kernels {

/// In sigma. Lists stay valid while no bead has moved half of it. 0.4 was the best of 0.2 to 0.6 for a dense driven bed
/// on the CPU (gyrebox_bench --case single, Zen 4); the device uses the same value.
inline constexpr double kSkin = 0.4;

}  // namespace gyrebox::kernels
