#include "cuda/bed_memory.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "cuda/block_layout.h"
#include "cuda/measure_memory.h"
#include "cuda/measured.h"
#include "cuda/rebuild.h"
#include "cuda/resident.h"
#include "dynamics/course.h"
#include "neighbors/reach.h"

namespace gyrebox::kernels::cuda {
namespace {

static_assert(kFirstCapacity % kFour == 0 && kFirstCapacity >= 2 * kFour);
// Columns of a strip, log2: the beads of a block and their partners then lie within 6 x 27 cells instead of 3 x 102.
constexpr int kStripBits = 2;

// 68 bytes a bead, and 8 a cell.
static_assert(ResidentArrays(nullptr, kTile, 100).bytes == 68 * kTile + 8 * 100 + 4);

// Parts of device memory start at multiples of this, as blocks of the CUDA runtime do.
using DeviceLayout = BlockLayout<256>;

// A bed's part of an ensemble's tables: a sample in each of the two current rounds, and the numbers of a few steps.
// Tables grow by half as much again.
constexpr std::size_t kTableBytes =
    3 * (sizeof(MeasuredSums) + sizeof(Probe) + sizeof(BedStatus) + sizeof(StepBatch) +
         2 * (sizeof(StepRequest) + sizeof(StepNumbers) + sizeof(StepSettings) + sizeof(PerSpinnerDriveNumbers))) +
    2 * sizeof(BedPlan);

void LayOutBeads(const RunSpec& spec, DeviceLayout& layout, BedMemory& memory) {
  const std::size_t stride = StrideOf(spec);
  layout.Take(memory.beads, 2 * stride);
  layout.Take(memory.spin, 2 * stride);
  layout.Take(memory.angle, 2 * stride);
  layout.Take(memory.remainder, 2 * stride);
  layout.Take(memory.tag, stride);
  layout.Take(memory.built, stride);
  layout.Take(memory.start, stride);
  layout.Take(memory.turns, stride);
  if (!CarriesSweeps(spec)) return;
  layout.Take(memory.motion, 3 * stride);
  layout.Take(memory.thermal, 2 * stride);
}

void LayOutSolver(const RunSpec& spec, DeviceLayout& layout, BedMemory& memory) {
  if (spec.dynamics.equation != DynamicsSpec::Equation::kConverged) return;
  const std::size_t stride = StrideOf(spec);
  layout.Take(memory.work, 2 * stride);
  layout.Take(memory.work_spin, 2 * stride);
  layout.Take(memory.known, 3 * stride);
  layout.Take(memory.random, 3 * stride);
}

}  // namespace

std::uint32_t StrideOf(const RunSpec& spec) {
  return static_cast<std::uint32_t>((spec.n_beads + kTile - 1) / kTile * kTile);
}

CellGrid GridOf(const RunSpec& spec, bool resident) {
  const double mean = std::sqrt(spec.side_x * spec.side_y / static_cast<double>(spec.n_beads));
  return CellGrid(spec.side_x, spec.side_y, std::max(ListReach(spec), mean),
                  resident ? CellGrid::kOneStrip : kStripBits);
}

bool IsWide(const RunSpec& spec, bool resident) {
  const double beads_of_column = static_cast<double>(spec.n_beads) / GridOf(spec, resident).nx;
  return !resident && beads_of_column * (1 << kStripBits) * 1.25 > std::numeric_limits<StreamedIndex>::max();
}

std::size_t SharedBytes(std::uint32_t stride, const CellGrid& grid) {
  return ResidentArrays(nullptr, stride, static_cast<std::uint32_t>(grid.count())).bytes;
}

std::size_t ListBytes(const RunSpec& spec, std::uint32_t capacity, bool wide) {
  const std::size_t index = wide ? sizeof(WideIndex) : sizeof(StreamedIndex);
  return StrideOf(spec) * std::max<std::size_t>(capacity * index, RebuildScratch::kBytesPerBead);
}

std::size_t LayOutBed(const RunSpec& spec, bool resident, std::uint32_t max_blocks, void* base, BedMemory& memory) {
  DeviceLayout layout(static_cast<unsigned char*>(base));
  const auto cells = static_cast<std::size_t>(GridOf(spec, resident).count());
  LayOutBeads(spec, layout, memory);
  layout.Take(memory.counts, StrideOf(spec));
  layout.Take(memory.cell_start, cells + 1);
  layout.Take(memory.cell_fill, cells);
  layout.Take(memory.block_totals, max_blocks);
  layout.Take(memory.partials, kMaxSums * SumNumbers(static_cast<std::uint32_t>(spec.n_beads)));
  LayOutSolver(spec, layout, memory);
  unsigned char* measure = nullptr;
  layout.Take(measure, MeasureBytes(StrideOf(spec), static_cast<std::uint32_t>(spec.n_spinners)));
  memory.measure = measure;
  return layout.used();
}

std::size_t LayOutDrives(std::size_t beads, std::size_t spinners, void* base, PerSpinnerDrive& own) {
  DeviceLayout layout(static_cast<unsigned char*>(base));
  layout.Take(own.spinner_of_id, beads);
  layout.Take(own.numbers, spinners);
  layout.Take(own.phases, spinners);
  layout.Take(own.turns, spinners);
  return layout.used();
}

bool IsResident(const RunSpec& spec, const Driver& driver) {
  return spec.n_beads <= kResidentBeads && SharedBytes(StrideOf(spec), GridOf(spec, true)) <= driver.resident_bytes();
}

std::int64_t BytesOf(const RunSpec& spec, const Driver& driver) {
  const bool resident = IsResident(spec, driver);
  BedMemory memory;
  return static_cast<std::int64_t>(LayOutBed(spec, resident, driver.max_blocks(), nullptr, memory) +
                                   ListBytes(spec, kFirstCapacity, IsWide(spec, resident)) + kTableBytes);
}

}  // namespace gyrebox::kernels::cuda
