/// Runs through the public interface of the kernels, and comparison of their results.
#pragma once

#include <gtest/gtest.h>

#include <cstring>
#include <memory>
#include <vector>

#include "gyrebox/device.h"
#include "test_device.h"

namespace gyrebox {

/// All results of a run.
struct Outcome {
  std::vector<kernels::Sample> samples;
  std::vector<kernels::Bead> beads;
  kernels::RunChunk last;
};

/// Advances runs to their ends, `chunk` steps at a time.
inline std::vector<Outcome> Outcomes(kernels::Device& device, const std::vector<kernels::RunSpec>& specs,
                                     std::int64_t chunk) {
  const auto ensemble = device.NewEnsemble(specs);
  std::vector<Outcome> out(specs.size());
  for (bool running = true; running;) {
    running = false;
    auto chunks = ensemble->Advance(chunk);
    for (std::size_t i = 0; i < out.size(); ++i) {
      running |= chunks[i].verdict == kernels::Verdict::kRunning;
      for (auto& sample : chunks[i].samples) out[i].samples.push_back(std::move(sample));
      out[i].last = std::move(chunks[i]);
    }
  }
  for (std::size_t i = 0; i < out.size(); ++i) out[i].beads = ensemble->Beads(i);
  return out;
}

inline Outcome OutcomeOf(const kernels::RunSpec& spec, std::int64_t chunk = 1000, int threads = 1) {
  const auto device = TestDevice(threads);
  return Outcomes(*device, {spec}, chunk)[0];
}

inline bool SameBits(double a, double b) { return std::memcmp(&a, &b, sizeof(double)) == 0; }

inline void ExpectSamePositions(const std::vector<kernels::Bead>& a, const std::vector<kernels::Bead>& b) {
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    ASSERT_TRUE(SameBits(a[i].x, b[i].x) && SameBits(a[i].y, b[i].y)) << "bead " << i;
    ASSERT_TRUE(SameBits(a[i].unwrapped_x, b[i].unwrapped_x)) << "bead " << i;
    ASSERT_TRUE(SameBits(a[i].unwrapped_y, b[i].unwrapped_y)) << "bead " << i;
  }
}

inline void ExpectSameBits(const Outcome& a, const Outcome& b) {
  ExpectSamePositions(a.beads, b.beads);
  for (std::size_t i = 0; i < a.beads.size(); ++i) {
    ASSERT_TRUE(SameBits(a.beads[i].vx, b.beads[i].vx) && SameBits(a.beads[i].vy, b.beads[i].vy)) << "bead " << i;
    ASSERT_TRUE(SameBits(a.beads[i].spin, b.beads[i].spin)) << "bead " << i;
  }
  ASSERT_EQ(a.samples.size(), b.samples.size());
  for (std::size_t k = 0; k < a.samples.size(); ++k) {
    ASSERT_EQ(a.samples[k].step, b.samples[k].step);
    ASSERT_EQ(a.samples[k].values.size(), b.samples[k].values.size());
    for (std::size_t c = 0; c < a.samples[k].values.size(); ++c) {
      ASSERT_TRUE(SameBits(a.samples[k].values[c], b.samples[k].values[c])) << "sample " << k << ", value " << c;
    }
  }
}

/// Index of a column's first value in a sample.
inline std::size_t ValueAt(const std::vector<kernels::Column>& columns, const std::string& name) {
  std::size_t at = 0;
  for (const kernels::Column& column : columns) {
    if (column.name == name) return at;
    at += static_cast<std::size_t>(column.width);
  }
  ADD_FAILURE() << "no column " << name;
  return 0;
}

}  // namespace gyrebox
