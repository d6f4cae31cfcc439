#include "answers/answer_parts.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdlib>
#include <utility>

#include "estimators/statistics.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

void AxisColumns(const StudyData& data, int x_axis, PlotWriter* plot) {
  for (int i = 0; i < static_cast<int>(data.axes.size()); ++i) {
    const auto role = i == x_axis ? v1::PlotColumn::ROLE_X : v1::PlotColumn::ROLE_CURVE;
    plot->Column(data.axes[i].field(), data.axes[i].unit(), role, "Value of this field of the study.");
  }
}

std::string ShortName(const std::string& field) {
  std::string words = field.substr(field.rfind('.') + 1);
  std::replace(words.begin(), words.end(), '_', ' ');
  const size_t stage = field.find("stages[");
  if (stage == std::string::npos) return words;
  return "stage " + std::to_string(std::atoi(field.c_str() + field.find('[', stage) + 1) + 1) + " " + words;
}

std::string AtText(const std::vector<v1::AxisSetting>& at) {
  std::string text;
  for (const auto& setting : at) {
    text += (text.empty() ? "at " : ", ") + ShortName(setting.field()) + " " + Short(setting.value());
  }
  return text.empty() ? text : text + ": ";
}

std::string Sentence(const std::vector<v1::AxisSetting>& at, const std::string& text) {
  std::string sentence = AtText(at) + text;
  sentence[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(sentence[0])));
  return sentence;
}

std::vector<v1::AxisSetting> SettingsOf(const StudyData& data, const Point& point) {
  std::vector<v1::AxisSetting> settings(data.axes.size());
  for (size_t i = 0; i < settings.size(); ++i) {
    settings[i].set_field(data.axes[i].field());
    settings[i].set_value(point.axis_values[i]);
  }
  return settings;
}

std::vector<Average> AveragesOf(const StudyData& data) {
  std::vector<Average> averages = {{data.observable, "", ""}};
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (!run.counts() || std::isnan(run.other())) continue;
      const bool number = data.other.name() == kNumberAverage;
      averages.push_back(
          {data.other, number ? "number-average" : "weight-average", number ? "_number_average" : "_weight_average"});
      return averages;
    }
  }
  return averages;
}

std::vector<LogMean> LogMeansOf(const StudyData& data, const NumberOf& number) {
  std::vector<Sample> samples;
  for (const Point& point : data.points) samples.push_back(LogsOf(CurvePointOf(point, 0, number)));
  return MeansOf(samples);
}

double FractionInLargest(const Point& point) {
  const auto largest = Values(point, [](const RunDigest& run) { return run.largest; });
  return largest.empty() || point.spinners == 0 ? kNone : Summarise(largest).mean / point.spinners;
}

/// Runs that count, and those among them that still grow.
static std::pair<size_t, size_t> GrowingOf(const Point& point) {
  size_t all = 0, growing = 0;
  for (const RunDigest& run : point.runs) {
    if (!run.counts()) continue;
    ++all;
    growing += run.stages.back().grows() ? 1 : 0;
  }
  return {all, growing};
}

std::string SizeNotes(const Point& point) {
  std::string notes;
  const auto add = [&](const std::string& text) { notes += (notes.empty() ? "" : ", ") + text; };
  const auto [all, growing] = GrowingOf(point);
  if (growing > 0) add("still growing in " + std::to_string(growing) + "/" + std::to_string(all));
  if (const double fraction = FractionInLargest(point); fraction > kMaxFractionOfSpinners) {
    add("largest cluster " + schema::NumberText(100 * fraction, 2) + " % of the spinners");
  }
  const auto wrapping = Values(point, [](const RunDigest& run) { return run.wrapping; });
  if (!wrapping.empty() && Summarise(wrapping).mean >= 0.5) add("clusters wrap round the bed");
  return notes;
}

RowMark SizeMarkOf(const Point& point) {
  RowMark mark = MarkOf(point.counts());
  const std::string notes = SizeNotes(point);
  mark.text += (mark.text.empty() || notes.empty() ? "" : ", ") + notes;
  return mark;
}

std::string AgeText(const Point& point) {
  double first = INFINITY, last = 0;
  for (const RunDigest& run : point.runs) {
    if (!run.counts()) continue;
    first = std::min(first, run.last.end);
    last = std::max(last, run.last.end);
  }
  if (last == 0) return "";
  const auto [all, growing] = GrowingOf(point);
  std::string text = " at " + Short(first) + (first == last ? "" : " to " + Short(last)) + " tau";
  if (growing > 0) text += ", still growing in " + std::to_string(growing) + " of " + std::to_string(all) + " runs";
  return text;
}

double PolydispersityOf(const RunDigest& run) { return run.polydispersity; }

}  // namespace gyrebox::analysis
