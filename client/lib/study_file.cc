#include "lib/study_file.h"

#include <toml++/toml.h>

#include <algorithm>

#include "lib/toml_reader.h"

namespace gyrebox::client {

constexpr size_t kMaxFileBytes = 1 << 20;

static void SortByLine(std::vector<FileFault>* faults) {
  std::stable_sort(faults->begin(), faults->end(),
                   [](const FileFault& a, const FileFault& b) { return a.line < b.line; });
}

/// Parent path of a field or an element: a.b of a.b.c, a of a[0].
static std::string Outer(const std::string& path) {
  const size_t end = path.find_last_of(".[");
  return end == std::string::npos ? "" : path.substr(0, end);
}

int StudyFile::LineOf(std::string path) const {
  for (; !path.empty(); path = Outer(path)) {
    if (const auto found = lines.find(path); found != lines.end()) return found->second;
  }
  return 1;
}

std::vector<FileFault> StudyFile::AllFaults(const std::vector<v1::FieldViolation>& violations) const {
  std::vector<FileFault> all = faults;
  const auto unread = [&](std::string path) {
    for (; !path.empty(); path = Outer(path)) {
      for (const FileFault& fault : faults) {
        if (fault.field == path) return true;
      }
    }
    return false;
  };
  for (const auto& violation : violations) {
    if (!unread(violation.field()))
      all.push_back({LineOf(violation.field()), violation.field(), violation.description()});
  }
  SortByLine(&all);
  return all;
}

StudyFile ParseStudyFile(const std::string& text) {
  StudyFile file;
  if (text.size() > kMaxFileBytes) {
    file.is_toml = false;
    file.faults.push_back({1, "", "the file has " + std::to_string(text.size()) + " bytes; a study has at most 1 MiB"});
    return file;
  }
  try {
    const toml::table table = toml::parse(text);
    if (table.empty()) file.faults.push_back({1, "", "the file is empty; a study needs at least the following"});
    TomlReader(&file).Read(table, &file.spec);
  } catch (const toml::parse_error& error) {
    file.is_toml = false;
    file.faults.push_back({static_cast<int>(error.source().begin.line), "",
                           "this is not valid TOML: " + std::string(error.description())});
  }
  SortByLine(&file.faults);
  return file;
}

}  // namespace gyrebox::client
