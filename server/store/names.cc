#include "store/names.h"

#include <absl/strings/numbers.h>
#include <absl/strings/str_split.h>

#include <algorithm>
#include <vector>

namespace gyrebox::store {

/// Parses a positive number without sign or leading zeros; 0 if the text is not one.
static int64_t ParseNumber(const std::string& text) {
  int64_t number = 0;
  if (!absl::SimpleAtoi(text, &number) || std::to_string(number) != text) return 0;
  return std::max<int64_t>(number, 0);
}

absl::StatusOr<int64_t> ParseStudyName(const std::string& name) {
  const std::vector<std::string> parts = absl::StrSplit(name, '/');
  if (parts.size() == 2 && parts[0] == "studies" && ParseNumber(parts[1]) > 0) return ParseNumber(parts[1]);
  if (name.empty()) return absl::InvalidArgumentError("the name of the study is missing; give studies/{study}");
  return absl::NotFoundError("there is no study " + name);
}

absl::StatusOr<RunName> ParseRunName(const std::string& name) {
  const std::vector<std::string> parts = absl::StrSplit(name, '/');
  if (parts.size() == 4 && parts[0] == "studies" && parts[2] == "runs") {
    const RunName parsed{ParseNumber(parts[1]), ParseNumber(parts[3])};
    if (parsed.study > 0 && parsed.run > 0) return parsed;
  }
  if (name.empty())
    return absl::InvalidArgumentError("the name of the run is missing; give studies/{study}/runs/{run}");
  return absl::NotFoundError("there is no run " + name);
}

std::string NameOfRun(int64_t study, int64_t number) {
  return "studies/" + std::to_string(study) + "/runs/" + std::to_string(number);
}

std::optional<StateName> ParseStateName(const std::string& name) {
  const std::vector<std::string> parts = absl::StrSplit(name, '/');
  if (parts.size() != 6 || parts[0] != "studies" || parts[2] != "runs" || parts[4] != "states") return std::nullopt;
  const StateName parsed{{ParseNumber(parts[1]), ParseNumber(parts[3])}, ParseNumber(parts[5])};
  const bool sound = parsed.run.study > 0 && parsed.run.run > 0 && (parsed.step > 0 || parts[5] == "0");
  return sound ? std::optional(parsed) : std::nullopt;
}

absl::StatusOr<AdjustmentName> ParseAdjustmentName(const std::string& name) {
  const std::vector<std::string> parts = absl::StrSplit(name, '/');
  if (parts.size() == 6 && parts[0] == "studies" && parts[2] == "runs" && parts[4] == "adjustments") {
    const AdjustmentName parsed{{ParseNumber(parts[1]), ParseNumber(parts[3])}, ParseNumber(parts[5])};
    if (parsed.run.study > 0 && parsed.run.run > 0 && parsed.entry > 0) return parsed;
  }
  return absl::NotFoundError("there is no journal entry " + name +
                             "; give studies/{study}/runs/{run}/adjustments/{adjustment}");
}

absl::StatusOr<int64_t> ParseTokenName(const std::string& name) {
  const std::vector<std::string> parts = absl::StrSplit(name, '/');
  if (parts.size() == 2 && parts[0] == "tokens" && ParseNumber(parts[1]) > 0) return ParseNumber(parts[1]);
  return absl::NotFoundError("there is no token " + name);
}

std::string InWords(v1::Run::State state) { return v1::Run::State_Name(state).substr(sizeof("STATE_") - 1); }

}  // namespace gyrebox::store
