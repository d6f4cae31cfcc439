/// Scheduling policy: a pure function of the work and of past device use.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace gyrebox::queue {

/// Runs of one study: an ensemble on the device, or its waiting runs.
struct Work {
  int64_t study = 0;  ///< smaller ids are older
  std::string user;
  int priority = 0;  ///< among the work of one user; larger comes first
  bool on_device = false;
  int64_t bytes = 0;      ///< device memory of the ensemble, or of the smallest part that can start
  int64_t beads = 0;      ///< likewise, number of beads
  bool starting = false;  ///< on the device, but still initialising
};

struct Limits {
  int64_t memory_bytes = 0;        ///< of the device
  int64_t max_beads_per_user = 0;  ///< on the device; 0 for no limit. One run is always allowed.
  size_t max_ensembles = 8;        ///< on the device
  double preemption_margin = 5;    ///< device seconds by which a user must be behind to evict another's work
};

/// What to do in the next slice.
struct Choice {
  std::optional<size_t> next;  ///< work to step or to start; none if nothing can be done
  std::vector<size_t> leave;   ///< ensembles to evict first, to make room for it
};

/// The user with the least use comes first; within a user the highest priority; within a priority the oldest study.
/// Work that does not fit waits, and the next in order gets the slice. While work initialises, the next also gets the
/// slice, but no lower-ranked work of that user starts.
/// @param used device seconds of a user, see Ledger.
Choice Choose(const std::vector<Work>& work, const std::function<double(const std::string&)>& used,
              const Limits& limits);

/// Indices of the work, in scheduling order.
std::vector<size_t> InOrder(const std::vector<Work>& work, const std::function<double(const std::string&)>& used);

}  // namespace gyrebox::queue
