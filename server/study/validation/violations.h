/// Faults found in a study.
#pragma once

#include <cstddef>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "gyrebox/v1/error.pb.h"

namespace gyrebox::study {

/// Collects distinct faults in the order in which they are found, up to kCapacity. When full, no field counts as sound.
class Violations {
 public:
  static constexpr size_t kCapacity = 1001;  ///< one more than is ever reported

  /// Clips long texts, such as the wrong name of a field.
  void Add(const std::string& field, const std::string& description);

  /// Whether no fault was found at this field, inside it, or in a message that contains it.
  bool Sound(const std::string& field) const;

  bool full() const { return list_.size() >= kCapacity; }
  bool empty() const { return list_.empty(); }
  std::vector<v1::FieldViolation> Take() && { return std::move(list_); }

 private:
  std::vector<v1::FieldViolation> list_;
  std::set<std::pair<std::string, std::string>> seen_;
};

}  // namespace gyrebox::study
