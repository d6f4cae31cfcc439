/// Who used how much of the device.
#pragma once

#include <map>
#include <string>

namespace gyrebox::queue {

/// Seconds of the device by person. What was used counts less as time goes by: half after every half-life.
class Ledger {
 public:
  /// @param half_life seconds.
  explicit Ledger(double half_life) : half_life_(half_life) {}

  /// Notes use that ended at a time, in seconds from any fixed moment; times of one person do not go back.
  void Charge(const std::string& person, double seconds, double now);

  /// What a person's use counts at a time.
  double Used(const std::string& person, double now) const;

  struct Use {
    double seconds = 0;
    double as_of = 0;
  };
  const std::map<std::string, Use>& all() const { return used_; }
  void Set(const std::string& person, const Use& use) { used_[person] = use; }

 private:
  double Faded(const Use& use, double now) const;

  const double half_life_;
  std::map<std::string, Use> used_;
};

}  // namespace gyrebox::queue
