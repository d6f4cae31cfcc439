/// Sizes and layout of the device memory of a bed.
#pragma once

#include "cuda/bed_data.h"
#include "cuda/driver.h"

namespace gyrebox::kernels::cuda {

/// Initial capacity of a list, partners per bead. A bead has 9 partners within 1.7 sigma in a dense bed, and at most 13
/// unless the bed is compressed.
inline constexpr std::uint32_t kFirstCapacity = 16;

/// Whether a bed is stepped in shared memory; depends on the bed and on the device's shared memory alone.
bool IsResident(const RunSpec& spec, const Driver& driver);
/// Bytes of device memory of a bed with lists of the initial capacity, including its part of an ensemble's tables.
std::int64_t BytesOf(const RunSpec& spec, const Driver& driver);

/// Beads, rounded up to tiles.
std::uint32_t StrideOf(const RunSpec& spec);
CellGrid GridOf(const RunSpec& spec, bool resident);
/// Whether the offset in memory to a partner, about the length of a strip of cells, may exceed 16 bits.
bool IsWide(const RunSpec& spec, bool resident);
std::size_t SharedBytes(std::uint32_t stride, const CellGrid& grid);
std::size_t ListBytes(const RunSpec& spec, std::uint32_t capacity, bool wide);

/// Assigns all memory but the lists and the per-spinner drives. @param base null if only the size is wanted.
/// @return bytes.
std::size_t LayOutBed(const RunSpec& spec, bool resident, std::uint32_t max_blocks, void* base, BedMemory& memory);
/// The same for the per-spinner drives.
std::size_t LayOutDrives(std::size_t beads, std::size_t spinners, void* base, PerSpinnerDrive& own);

}  // namespace gyrebox::kernels::cuda
