/// How far beyond the longest cut-off partners are listed.
#pragma once

namespace gyrebox::kernels {

/// Sigma. Lists serve while no bead has moved half of it. 0.4 was the best of 0.2 to 0.6 on a dense driven bed on the
/// CPU (gyrebox_bench --case single, Zen 4); the device takes the same.
inline constexpr double kSkin = 0.4;

}  // namespace gyrebox::kernels
