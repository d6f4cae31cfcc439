/// Pushes overlapping beads apart.
#pragma once

#include <atomic>
#include <cstdint>
#include <span>
#include <string>

namespace gyrebox::kernels {

/// Moves beads until no pair is closer than closest_pair, by linear repulsion between overlapping beads.
/// @param sides and closest_pair in sigma. @param x,y (beads) fixed-point positions, changed in place.
/// @param give_up polled throughout; once it is set, the beads stay where they are. May be null.
/// @return empty, or why closest_pair was not reached, with the figures.
std::string Separate(double side_x, double side_y, double closest_pair, std::span<std::uint32_t> x,
                     std::span<std::uint32_t> y, const std::atomic<bool>* give_up = nullptr);

}  // namespace gyrebox::kernels
