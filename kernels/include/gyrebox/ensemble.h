/// Runs that are stepped together.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/bed_state.h"
#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// One measured quantity: a column of a run's series.
struct Column {
  std::string name;        ///< such as "spinner_weight_average_size"
  std::string unit;        ///< empty for a pure number
  std::string definition;  ///< one sentence
  int width = 1;           ///< values per sample; more than 1 for a histogram
};

/// All columns at one step, wide columns flattened one after another.
struct Sample {
  std::int64_t step = 0;
  double time = 0;  ///< tau
  std::vector<double> values;
};

/// Why a run stopped before its end.
struct Fault {
  enum class Reason { kClosestPair, kLargestMove, kLostBeads, kNotFinite, kNotConverged, kStartNotReached };
  /// Numerical if half the step gets past the fault, else physical.
  enum class Cause { kNotTried, kNumerical, kPhysical };
  Reason reason = Reason::kClosestPair;
  std::string message;  ///< for users, with the figures
  std::int64_t step = 0;
  double time = 0;                  ///< tau
  std::vector<std::int64_t> beads;  ///< ids, smallest first
  std::vector<double> position;     ///< sigma; empty where there is none
  Cause cause = Cause::kNotTried;
};

enum class Verdict {
  kRunning,   ///< more steps to take
  kFinished,  ///< at its last step
  kUnstable,  ///< stopped by a health limit; see fault
  kFailed,    ///< could not start; see fault
  kDropped,   ///< stopped by Drop()
};

/// Progress of one run in one chunk.
struct RunChunk {
  std::int64_t step = 0;  ///< steps taken so far
  double time = 0;        ///< tau
  Verdict verdict = Verdict::kRunning;
  std::optional<Fault> fault;
  std::vector<Sample> samples;  ///< in order; the series ends at the last valid one
  std::vector<Fault> passed;    ///< faults recovered in this chunk by rollback and half the step
  std::string warning;          ///< empty, or set once: the run continues, but its results need checking
};

/// A bead in physical units, for users.
struct Bead {
  double x = 0, y = 0;                      ///< position in the periodic domain, 0 <= x < side_x, sigma
  double unwrapped_x = 0, unwrapped_y = 0;  ///< path without the periodic wrap, sigma
  double vx = 0, vy = 0;                    ///< velocity of the last step, sigma/tau
  double spin = 0;                          ///< rate of turning in the last step, rad/tau
  double angle = 0;                         ///< turned so far, rad, 0 <= angle < 2 pi
  bool spinner = false;
};

/// Runs stepped together. The results of a run depend on its spec alone, not on the other runs of the ensemble, the
/// number of threads, or the division of its steps into chunks.
class Ensemble {
 public:
  virtual ~Ensemble() = default;
  virtual std::size_t size() const = 0;

  /// Columns of a run's samples.
  virtual const std::vector<Column>& columns(std::size_t run) const = 0;

  /// Takes up to `steps` more steps of every run that is kRunning, and returns one RunChunk per run, in order. The
  /// first call also takes the sample of step 0. A run that rolls back to its kept state ends its chunk there. Blocks
  /// until done.
  virtual std::vector<RunChunk> Advance(std::int64_t steps) = 0;

  /// Abandons a run: it takes no more steps.
  virtual void Drop(std::size_t run) = 0;

  /// Adjusts a live run. Takes effect at adjustment.step, or at the next step if that has passed. Throws
  /// std::invalid_argument with the reason. @return the step at which it takes effect.
  virtual std::int64_t Adjust(std::size_t run, const Adjustment& adjustment) = 0;

  /// All adjustments of a run in order of effect. Together with its spec they suffice for a replay.
  virtual const std::vector<Adjustment>& adjustments(std::size_t run) const = 0;

  /// Ends a live run at this step, or at its current one if that is later. May shorten or extend the run of the spec.
  virtual void EndAt(std::size_t run, std::int64_t step) = 0;

  /// Current state of a run. With the spec and the adjustments so far, the run continues from it bitwise identically.
  virtual BedState Save(std::size_t run) const = 0;
  /// State to resume from after an interruption: Advance() has returned exactly the samples before its step, and later
  /// results do not depend on the interruption. If a retry may still discard the current state, this is the state that
  /// it would roll back to.
  virtual BedState Checkpoint(std::size_t run) const = 0;
  /// Restores a saved state. Throws std::invalid_argument if the state belongs to another bed.
  virtual void Load(std::size_t run, const BedState& state) = 0;

  /// Current beads of a run, in the order of their ids.
  virtual std::vector<Bead> Beads(std::size_t run) const = 0;

  /// List rebuilds of all runs so far, and the wall time they took in seconds.
  struct RebuildStats {
    std::int64_t count = 0;
    double seconds = 0;
  };
  virtual RebuildStats rebuilds() const = 0;
};

}  // namespace gyrebox::kernels
