#include "schema/nearest_name.h"

#include <algorithm>
#include <numeric>

namespace gyrebox::schema {

/// Number of letters to add, remove or replace to turn one text into the other.
static size_t EditDistance(const std::string& a, const std::string& b) {
  std::vector<size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), size_t{0});
  for (size_t i = 1; i <= a.size(); ++i) {
    size_t diagonal = row[0];
    row[0] = i;
    for (size_t j = 1; j <= b.size(); ++j) {
      const size_t replaced = diagonal + (a[i - 1] != b[j - 1] ? 1 : 0);
      diagonal = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, replaced});
    }
  }
  return row.back();
}

static bool EndsWithPart(const std::string& name, const std::string& part) {
  return name.size() > part.size() && name.ends_with(part) && name[name.size() - part.size() - 1] == '.';
}

std::string NearestName(const std::string& given, const std::vector<std::string>& names) {
  if (given.empty() || given.size() > 100) return "";
  std::string nearest;
  size_t least = std::max<size_t>(2, given.size() / 3) + 1;
  for (const std::string& name : names) {
    const size_t distance = EndsWithPart(name, given) ? 1 : EditDistance(given, name);
    if (distance < least) {
      least = distance;
      nearest = name;
    }
  }
  return nearest;
}

std::string DidYouMean(const std::string& given, const std::vector<std::string>& names) {
  const std::string nearest = NearestName(given, names);
  return nearest.empty() ? "" : "; did you mean " + nearest + "?";
}

}  // namespace gyrebox::schema
