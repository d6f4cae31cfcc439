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
  enum class Reason { kClosestPair, kLargestMove, kLostBeads, kNotFinite, kNotConverged, kStartNotReached };
  /// Whether half the step gets past it: then it was numerical, else the physics fails there.
  enum class Nature { kNotTried, kNumerical, kPhysical };
  Reason reason = Reason::kClosestPair;
  std::string message;  ///< for people, with the figures
  std::int64_t step = 0;
  double time = 0;                  ///< tau
  std::vector<std::int64_t> beads;  ///< ids, smallest first
  std::vector<double> place;        ///< sigma; empty where there is none
  Nature nature = Nature::kNotTried;
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
  std::vector<Sample> samples;  ///< in order; the series ends at the last sound one
  std::vector<Fault> passed;    ///< faults got past in this chunk by going back and on with half the step
  std::string alarm;            ///< empty, or said once: the run goes on, but its figures need a second look
};

/// A bead as people see it.
struct Bead {
  double x = 0, y = 0;                      ///< place in the periodic domain, 0 <= x < side_x, sigma
  double unwrapped_x = 0, unwrapped_y = 0;  ///< path without the periodic wrap, sigma
  double vx = 0, vy = 0;                    ///< velocity of the last step, sigma/tau
  double spin = 0;                          ///< rate of turning in the last step, rad/tau
  double angle = 0;                         ///< turned so far, rad, 0 <= angle < 2 pi
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
  /// call also takes the sample of step 0. A run that goes back to its kept state ends its chunk there. Blocks until
  /// done.
  virtual std::vector<RunChunk> Advance(std::int64_t steps) = 0;

  /// Gives a run up: it takes no more steps.
  virtual void Drop(std::size_t run) = 0;

  /// Changes a live run from a step on: that of the adjustment, or the next one where that has been passed.
  /// Throws std::invalid_argument with the reason. @return the first step that it holds for.
  virtual std::int64_t Adjust(std::size_t run, const Adjustment& adjustment) = 0;

  /// All adjustments of a run in the order of their effect: with its spec, all that a replay needs.
  virtual const std::vector<Adjustment>& adjustments(std::size_t run) const = 0;

  /// Ends a live run at this step, or at its present one where that is past it: sooner or later than its spec says.
  virtual void EndAt(std::size_t run, std::int64_t step) = 0;

  /// State of a run now; with the spec and the adjustments so far it goes on from there with the same bits.
  virtual BedState Save(std::size_t run) const = 0;
  /// State to go on from after a break: the samples that Advance() has handed out are those before its step, and none
  /// of what follows depends on the break. Where a retry may take the present state back, this is the one to which it
  /// would go back.
  virtual BedState Checkpoint(std::size_t run) const = 0;
  /// Puts a run at a saved state. Throws std::invalid_argument where the state is of another bed.
  virtual void Load(std::size_t run, const BedState& state) = 0;

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
