#include "answers/answer_parts.h"

#include <algorithm>
#include <cctype>
#include <cstdlib>

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

double PolydispersityOf(const RunDigest& run) { return run.polydispersity; }

}  // namespace gyrebox::analysis
