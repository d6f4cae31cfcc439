/// Series of runs: their observables and samples.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/v1/observable.pb.h"
#include "store/connections.h"
#include "store/packed.h"

namespace gyrebox::store {

/// Numbers in a row before its values: step and time.
constexpr size_t kRowHead = 2;

/// Consecutive samples: rows of `width` numbers, each with step, time and values.
struct SampleRows {
  int64_t first = 0;  ///< sequence of the first row
  size_t width = 0;   ///< 0 if there are none
  std::vector<double> numbers;
  std::vector<Block> wide = {};  ///< quantities with several numbers; for samples to be stored

  size_t size() const { return width == 0 ? 0 : numbers.size() / width; }
  std::span<const double> row(size_t i) const { return {numbers.data() + i * width, width}; }
};

class Series {
 public:
  explicit Series(Connections& connections) : connections_(connections) {}

  /// @param observables of each run, in the order of `numbers`.
  absl::Status SetObservables(int64_t study, std::span<const int64_t> numbers,
                              std::span<const std::vector<v1::Observable>> observables);
  /// Observables of a run; empty before it has started.
  absl::StatusOr<std::vector<v1::Observable>> GetObservables(int64_t study, int64_t number);
  /// Up to `limit` samples, starting at sequence number `from`.
  absl::StatusOr<SampleRows> Read(int64_t study, int64_t number, int64_t from, int limit);
  /// The given columns of the segments that end at or after `time`, in tau. Reads single numbers only: columns of a
  /// wide quantity are NaN.
  absl::StatusOr<SampleRows> ReadColumns(int64_t study, int64_t number, double time, std::span<const size_t> columns);

 private:
  Connections& connections_;
};

// ---- inside a transaction

/// Appends samples to a series. @param packed see Pack().
absl::Status AppendSamples(Connection& connection, int64_t study, int64_t number, const SampleRows& samples,
                           const PackedSamples& packed);

}  // namespace gyrebox::store
