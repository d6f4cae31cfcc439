#include "output/text.h"

#include <algorithm>
#include <cmath>
#include <ctime>

#include "schema/number_text.h"

namespace gyrebox::client {

std::string StudyName(const std::string& given) { return given.starts_with("studies/") ? given : "studies/" + given; }

std::string RunName(const std::string& given) {
  const std::string name = StudyName(given);
  if (name.find("/runs/") != std::string::npos || name.rfind('/') == name.find('/')) return name;
  return name.substr(0, name.rfind('/')) + "/runs" + name.substr(name.rfind('/'));
}

std::string LastPart(const std::string& name) { return name.substr(name.find_last_of("./") + 1); }

std::string RunLabel(const v1::Run& run) { return LastPart(run.name()) + (run.audit() ? " (audit)" : ""); }

std::string WithUnit(const std::string& name, const std::string& unit) {
  return unit.empty() ? name : name + " [" + unit + "]";
}

static std::string TwoUnits(int64_t large, const char* large_unit, int64_t small, const char* small_unit) {
  std::string text = std::to_string(large) + " " + large_unit;
  if (small > 0) text += " " + std::to_string(small) + " " + small_unit;
  return text;
}

static std::string DurationText(double seconds) {
  if (seconds > 1e10) return schema::NumberText(seconds / 31557600, 2) + " years";
  const int64_t s = std::llround(seconds);
  if (s < 60) return std::to_string(s) + " s";
  if (s < 3600) return TwoUnits(s / 60, "min", s % 60, "s");
  if (s < 86400) return TwoUnits(s / 3600, "h", s % 3600 / 60, "min");
  return TwoUnits(s / 86400, s < 2 * 86400 ? "day" : "days", s % 86400 / 3600, "h");
}

std::string AboutText(double seconds) { return seconds >= 1 ? "about " + DurationText(seconds) : "under a second"; }

std::string BytesText(double bytes) {
  static constexpr const char* kUnits[] = {"B", "KiB", "MiB", "GiB", "TiB"};
  size_t unit = 0;
  for (; bytes >= 1024 && unit + 1 < std::size(kUnits); ++unit) bytes /= 1024;
  return schema::NumberText(bytes, bytes >= 100 ? 3 : 2) + " " + kUnits[unit];
}

std::string TimeText(const google::protobuf::Timestamp& time) {
  const std::time_t seconds = time.seconds();
  std::tm parts{};
  gmtime_r(&seconds, &parts);
  char text[64];
  std::strftime(text, sizeof text, "%Y-%m-%d %H:%M:%S UTC", &parts);
  return text;
}

/// STATE_RUNNING becomes running.
static std::string Lowered(const std::string& name) {
  std::string text = name.substr(name.find('_') + 1);
  std::transform(text.begin(), text.end(), text.begin(), [](unsigned char c) { return std::tolower(c); });
  return text;
}

std::string StateText(v1::Run::State state) { return Lowered(v1::Run::State_Name(state)); }
std::string StateText(v1::Study::State state) { return Lowered(v1::Study::State_Name(state)); }

std::string CountsText(const v1::RunCounts& counts) {
  const std::pair<int32_t, const char*> kParts[] = {
      {counts.running_count(), "running"},     {counts.queued_count(), "queued"},     {counts.paused_count(), "paused"},
      {counts.finished_count(), "finished"},   {counts.unstable_count(), "unstable"}, {counts.failed_count(), "failed"},
      {counts.cancelled_count(), "cancelled"},
  };
  std::string text;
  for (const auto& [count, word] : kParts) {
    if (count > 0) text += (text.empty() ? "" : ", ") + std::to_string(count) + " " + word;
  }
  if (counts.excluded_count() > 0) text += "; " + std::to_string(counts.excluded_count()) + " left out by hand";
  return text;
}

std::string LabelsText(const v1::Study& study) {
  std::string text;
  for (const std::string& label : study.labels()) text += (text.empty() ? "" : ", ") + label;
  return text;
}

std::string Plural(int64_t count, const std::string& noun) {
  return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

}  // namespace gyrebox::client
