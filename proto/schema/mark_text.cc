#include "schema/mark_text.h"

#include <utility>

namespace gyrebox::schema {

std::string MarkText(const TrialCounts& counts) {
  const std::pair<int, const char*> kParts[] = {{counts.unstable, "unstable"},   {counts.failed, "failed"},
                                                {counts.cancelled, "cancelled"}, {counts.changed, "changed"},
                                                {counts.identical, "identical"}, {counts.excluded, "left out"},
                                                {counts.waiting, "waiting"}};
  int all = counts.counted;
  for (const auto& part : kParts) all += part.first;
  std::string mark;
  for (const auto& [count, word] : kParts) {
    if (count == 0) continue;
    mark += (mark.empty() ? "" : ", ") + std::string(word) + " " + std::to_string(count) + "/" + std::to_string(all);
  }
  if (counts.moves_with_step) mark += (mark.empty() ? "" : ", ") + std::string(kMovesWithStep);
  return mark;
}

}  // namespace gyrebox::schema
