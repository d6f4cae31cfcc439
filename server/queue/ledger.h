/// Device use by user.
#pragma once

#include <map>
#include <string>

namespace gyrebox::queue {

/// Device seconds by user. Past use decays exponentially: it halves with every half-life.
class Ledger {
 public:
  /// @param half_life seconds.
  explicit Ledger(double half_life) : half_life_(half_life) {}

  /// Adds use that ended at `now`, in seconds from a fixed origin. Times of one user must not decrease.
  void Charge(const std::string& user, double seconds, double now);

  /// Decayed use of a user at `now`, in device seconds.
  double Used(const std::string& user, double now) const;

  struct Use {
    double seconds = 0;
    double as_of = 0;
  };
  const std::map<std::string, Use>& all() const { return used_; }
  void Set(const std::string& user, const Use& use) { used_[user] = use; }

 private:
  double Faded(const Use& use, double now) const;

  const double half_life_;
  std::map<std::string, Use> used_;
};

}  // namespace gyrebox::queue
