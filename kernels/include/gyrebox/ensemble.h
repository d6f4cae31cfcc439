/// Runs that are stepped together.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace gyrebox::kernels {

/// One measured quantity: a column of a run's series.
struct Column {
  std::string name;        ///< such as "spinner_weight_average_size"
  std::string unit;        ///< empty for a pure number
  std::string definition;  ///< one sentence
  int width = 1;           ///< values a sample holds of it; more than 1 for a histogram
};

/// All columns at one step, wide columns flattened one after another.
struct Sample {
  std::int64_t step = 0;
  double time = 0;  ///< tau
  std::vector<double> values;
};

/// Why a run stopped before its end.
struct Fault {
  enum class Reason { kClosestPair, kLargestMove, kLostBeads, kNotFinite, kStartNotReached };
  Reason reason = Reason::kClosestPair;
  std::string message;  ///< for people, with the figures
  std::int64_t step = 0;
  double time = 0;                  ///< tau
  std::vector<std::int64_t> beads;  ///< ids, smallest first
  std::vector<double> place;        ///< sigma; empty where there is none
};

enum class Verdict {
  kRunning,   ///< more steps to take
  kFinished,  ///< at its last step
  kUnstable,  ///< stopped by a health limit; see fault
  kFailed,    ///< could not start; see fault
  kDropped,   ///< given up by Drop()
};

/// What one run did in one chunk.
struct RunChunk {
  std::int64_t step = 0;  ///< steps taken so far
  double time = 0;        ///< tau
  Verdict verdict = Verdict::kRunning;
  std::optional<Fault> fault;
  std::vector<Sample> samples;  ///< taken in this chunk, in order; the series ends at the last sound one
};

/// A bead as people see it.
struct Bead {
  double x = 0, y = 0;                      ///< place in the periodic domain, 0 <= x < side_x, sigma
  double unwrapped_x = 0, unwrapped_y = 0;  ///< path without the periodic wrap, sigma
  double vx = 0, vy = 0;                    ///< velocity of the last step, sigma/tau
  double spin = 0;                          ///< rate of turning in the last step, rad/tau
  bool spinner = false;
};

/// Runs stepped together. What a run computes depends on its spec alone: never on its neighbours in the ensemble, on
/// the number of threads, or on how its steps are cut into chunks.
class Ensemble {
 public:
  virtual ~Ensemble() = default;
  virtual std::size_t size() const = 0;

  /// Columns of a run's samples.
  virtual const std::vector<Column>& columns(std::size_t run) const = 0;

  /// Takes up to `steps` more steps of every run that is kRunning, and returns one RunChunk a run, in order. The first
  /// call also takes the sample of step 0. Blocks until done.
  virtual std::vector<RunChunk> Advance(std::int64_t steps) = 0;

  /// Gives a run up: it takes no more steps.
  virtual void Drop(std::size_t run) = 0;

  /// Beads of a run now, in the order of their ids.
  virtual std::vector<Bead> Beads(std::size_t run) const = 0;

  /// List rebuilds so far, of all runs, and the wall time they took in seconds.
  struct RebuildStats {
    std::int64_t count = 0;
    double seconds = 0;
  };
  virtual RebuildStats rebuilds() const = 0;
};

}  // namespace gyrebox::kernels
