#include "queue/ledger.h"

#include <algorithm>
#include <cmath>

namespace gyrebox::queue {

double Ledger::Faded(const Use& use, double now) const {
  return use.seconds * std::exp2(-std::max(0.0, now - use.as_of) / half_life_);
}

void Ledger::Charge(const std::string& user, double seconds, double now) {
  Use& use = used_[user];
  use = {Faded(use, now) + seconds, std::max(now, use.as_of)};
}

double Ledger::Used(const std::string& user, double now) const {
  const auto found = used_.find(user);
  return found == used_.end() ? 0 : Faded(found->second, now);
}

}  // namespace gyrebox::queue
