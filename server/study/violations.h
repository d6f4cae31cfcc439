/// Faults found in a study.
#pragma once

#include <cstddef>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "gyrebox/v1/error.pb.h"

namespace gyrebox::study {

/// Collects faults, each once, in the order in which they are found, up to a number: then it is full, and no field
/// counts as sound any more.
class Violations {
 public:
  static constexpr size_t kMost = 1001;  ///< one more than anyone is told

  /// Long texts, such as the wrong name of a field, are clipped.
  void Add(const std::string& field, const std::string& description);

  /// Whether no fault was found at this field, in it, or in a message that holds it.
  bool Sound(const std::string& field) const;

  bool full() const { return list_.size() >= kMost; }
  bool empty() const { return list_.empty(); }
  std::vector<v1::FieldViolation> Take() && { return std::move(list_); }

 private:
  std::vector<v1::FieldViolation> list_;
  std::set<std::pair<std::string, std::string>> seen_;
};

}  // namespace gyrebox::study
