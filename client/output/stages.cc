#include "output/stages.h"

#include <algorithm>
#include <string>

#include "output/text_table.h"
#include "schema/adjustment_text.h"
#include "schema/number_text.h"

namespace gyrebox::client {

/// The numbers set in a message, with spaces in their names; `joint` joins name and value.
static std::string WordsText(const google::protobuf::Message& message, const char* joint) {
  std::string text = schema::NumbersText(message, joint);
  std::replace(text.begin(), text.end(), '_', ' ');
  return text;
}

static std::string WaveText(const v1::RunSettings& step) {
  const auto* wave =
      step.GetReflection()->GetOneofFieldDescriptor(step, step.GetDescriptor()->FindOneofByName("waveform"));
  if (wave == nullptr) return "";
  const std::string numbers = WordsText(step.GetReflection()->GetMessage(step, wave), " ");
  return wave->name() + " wave" + (numbers.empty() ? "" : " of " + numbers);
}

/// Fields of a stage that axes vary, such as "step.amplitude by axis".
static std::string VariedText(const v1::StudySpec& spec, int stage) {
  const std::string prefix = "schedule.stages[" + std::to_string(stage) + "].";
  std::string text;
  for (const v1::Axis& axis : spec.axes()) {
    if (!axis.field().starts_with(prefix)) continue;
    text += (text.empty() ? "" : ", ") + axis.field().substr(prefix.size()) + " by axis";
  }
  return text;
}

static std::string ChangesText(const v1::StudySpec& spec, int number) {
  const v1::Stage& stage = spec.schedule().stages(number);
  const std::string parts[] = {WaveText(stage.step()), WordsText(stage.step(), " "),
                               WordsText(stage.ramp(), " ramps to "), VariedText(spec, number)};
  std::string text;
  for (const std::string& part : parts) {
    if (!part.empty()) text += (text.empty() ? "" : "; ") + part;
  }
  return text.empty() ? "nothing changes" : text;
}

void WriteStages(std::ostream& out, const v1::StudySpec& spec) {
  if (spec.schedule().stages().empty()) return;
  std::vector<Row> rows;
  for (int i = 0; i < spec.schedule().stages_size(); ++i) {
    const v1::Stage& stage = spec.schedule().stages(i);
    rows.push_back({"    " + std::to_string(i + 1), stage.label(), schema::NumberText(stage.duration()) + " tau",
                    ChangesText(spec, i)});
  }
  out << "  stages\n";
  WriteAligned(out, rows, {Align::kLeft, Align::kLeft, Align::kRight, Align::kLeft});
}

}  // namespace gyrebox::client
