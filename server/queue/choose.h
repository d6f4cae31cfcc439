/// Whose turn it is: a function of what there is to do and who used how much, and of nothing else.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace gyrebox::queue {

/// Runs of one study: an ensemble on the device, or what waits.
struct Work {
  int64_t study = 0;  ///< smaller numbers are older
  std::string person;
  int priority = 0;  ///< among the work of the same person; larger comes first
  bool on_device = false;
  int64_t bytes = 0;      ///< of device memory: of the ensemble, or of the least that can be started
  int64_t beads = 0;      ///< the same of beads
  bool starting = false;  ///< on the device, but not to be stepped yet
};

struct Limits {
  int64_t memory_bytes = 0;          ///< of the device
  int64_t most_beads_of_person = 0;  ///< on the device; 0 for no limit. One run may always be there.
  size_t most_ensembles = 8;         ///< on the device
  double swap_seconds = 5;           ///< how far behind a person must be to push another's work off the device
};

/// What to do in the next slice.
struct Choice {
  std::optional<size_t> next;  ///< work to step, or to start; none where nothing can be done
  std::vector<size_t> leave;   ///< ensembles to save and take off the device first, to make room for it
};

/// Who used the least comes first; of one person the highest priority; of one priority the oldest. Work that has no
/// room waits, and the next in order has the slice. So it is while work starts; but then no more of that person is
/// started, unless it comes before it.
/// @param used seconds of a person, see Ledger.
Choice Choose(const std::vector<Work>& work, const std::function<double(const std::string&)>& used,
              const Limits& limits);

/// The work in the order of its turns.
std::vector<size_t> InOrder(const std::vector<Work>& work, const std::function<double(const std::string&)>& used);

}  // namespace gyrebox::queue
