#include "retention/rules.h"

#include "schema/number_text.h"

namespace gyrebox::retention {

constexpr double kMillisecondsPerDay = 86'400'000;
constexpr double kGibibyte = 1024.0 * 1024 * 1024;

static bool IsOld(const store::Deletable& study, const Rules& rules, int64_t now) {
  return rules.keep_days > 0 && static_cast<double>(now - study.end_time) > rules.keep_days * kMillisecondsPerDay;
}

std::vector<Due> WhatIsDue(const store::DeletableStudies& there, const Rules& rules, int64_t now) {
  using schema::NumberText;
  const std::string old =
      "this machine keeps studies for " + NumberText(rules.keep_days) + " days after their end, and that is over";
  const std::string large = "all studies together take more than the " + NumberText(rules.keep_gib) +
                            " GiB that this machine has for them, and it ended before the others";
  double over = rules.keep_gib > 0 ? static_cast<double>(there.all_bytes) - rules.keep_gib * kGibibyte : 0;
  std::vector<Due> due;
  for (const store::Deletable& study : there.studies) {
    const bool is_old = IsOld(study, rules, now);
    if (!is_old && over <= 0) continue;
    due.push_back({study, is_old ? old : large});
    over -= static_cast<double>(study.bytes);
  }
  return due;
}

}  // namespace gyrebox::retention
