/// Pushes overlapping beads apart.
#pragma once

#include <atomic>
#include <cstdint>
#include <span>
#include <string>

namespace gyrebox::kernels {

/// Moves beads until no pair is closer than closest_pair, by a soft ramp between beads that overlap.
/// @param sides and closest_pair in sigma. @param x,y (beads) fixed-point places, changed in place.
/// @param give_up looked at all along: once it is set the beads stay where they are. Null where nobody gives up.
/// @return empty, or why it was not reached, with the figures.
std::string Separate(double side_x, double side_y, double closest_pair, std::span<std::uint32_t> x,
                     std::span<std::uint32_t> y, const std::atomic<bool>* give_up = nullptr);

}  // namespace gyrebox::kernels
