#include "study/remarks.h"

#include <algorithm>
#include <cctype>
#include <set>

#include "schema/visible_text.h"
#include "study/plain_text.h"

namespace gyrebox::study {

constexpr size_t kLongestNote = 10'000;
constexpr int kMaxLabels = 20;
constexpr size_t kLongestLabel = 40;
constexpr size_t kLongestReason = 200;

static void CheckLength(const std::string& text, size_t most, const std::string& path, Violations* violations) {
  if (CharacterCount(text) <= most) return;
  violations->Add(path,
                  std::to_string(CharacterCount(text)) + " characters are too many; at most " + std::to_string(most));
}

void CheckNote(const std::string& note, const std::string& path, Violations* violations) {
  CheckLength(note, kLongestNote, path, violations);
  std::string lines = note;
  std::erase_if(lines, [](char c) { return c == '\n' || c == '\t'; });
  if (schema::HasHidden(lines))
    violations->Add(path, "holds a control character; give plain text, without those of the direction of text");
}

static bool IsLabel(const std::string& text) {
  return !text.empty() && text.size() <= kLongestLabel && std::all_of(text.begin(), text.end(), [](unsigned char c) {
    return (c < 0x80 && std::isalnum(c)) || c == '-' || c == '_' || c == '.';
  });
}

void CheckLabels(const google::protobuf::RepeatedPtrField<std::string>& labels, const std::string& path,
                 Violations* violations) {
  if (labels.size() > kMaxLabels) {
    violations->Add(path,
                    std::to_string(labels.size()) + " labels are too many; at most " + std::to_string(kMaxLabels));
  }
  std::set<std::string> seen;
  for (int i = 0; i < labels.size(); ++i) {
    const std::string at = path + "[" + std::to_string(i) + "]";
    if (!IsLabel(labels[i])) {
      violations->Add(at, "is no label; give 1 to 40 letters, digits, -, _ or .");
    } else if (!seen.insert(labels[i]).second) {
      violations->Add(at, labels[i] + " is there twice; give each label once");
    }
  }
}

void CheckReason(const std::string& reason, const std::string& path, Violations* violations) {
  if (reason.empty()) violations->Add(path, "is missing; say in one line why the run is to count no more");
  if (schema::HasHidden(reason))
    violations->Add(path,
                    "holds a control character; give one line of plain text, without those of the direction of text");
  CheckLength(reason, kLongestReason, path, violations);
}

}  // namespace gyrebox::study
