#include "cli/stages.h"

#include <string>

#include "cli/text_table.h"
#include "schema/number_text.h"

namespace gyrebox::client {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;

static std::string Words(std::string name) {
  for (char& c : name) c = c == '_' ? ' ' : c;
  return name;
}

/// The numbers that a message gives, such as "amplitude 20, frequency 1", each with the word that leads to it.
static std::string NumbersText(const Message& message, const char* to) {
  std::string text;
  for (int i = 0; i < message.GetDescriptor()->field_count(); ++i) {
    const FieldDescriptor* field = message.GetDescriptor()->field(i);
    if (field->is_repeated() || field->cpp_type() != FieldDescriptor::CPPTYPE_DOUBLE) continue;
    if (!message.GetReflection()->HasField(message, field)) continue;
    text += (text.empty() ? "" : ", ") + Words(field->name()) + to +
            schema::NumberText(message.GetReflection()->GetDouble(message, field));
  }
  return text;
}

static std::string WaveText(const v1::Adjustable& step) {
  const auto* wave =
      step.GetReflection()->GetOneofFieldDescriptor(step, step.GetDescriptor()->FindOneofByName("waveform"));
  if (wave == nullptr) return "";
  const std::string numbers = NumbersText(step.GetReflection()->GetMessage(step, wave), " ");
  return wave->name() + " wave" + (numbers.empty() ? "" : " of " + numbers);
}

static std::string ChangesText(const v1::Stage& stage) {
  const std::string parts[] = {WaveText(stage.step()), NumbersText(stage.step(), " "),
                               NumbersText(stage.ramp(), " ramps to ")};
  std::string text;
  for (const std::string& part : parts) {
    if (!part.empty()) text += (text.empty() ? "" : "; ") + part;
  }
  return text.empty() ? "nothing changes" : text;
}

void WriteStages(std::ostream& out, const v1::Schedule& schedule) {
  if (schedule.stages().empty()) return;
  std::vector<Row> rows;
  for (const v1::Stage& stage : schedule.stages()) {
    const std::string number = std::to_string(rows.size() + 1);
    rows.push_back({"    " + number, stage.label(), schema::NumberText(stage.duration()) + " tau", ChangesText(stage)});
  }
  out << "  stages\n";
  WriteAligned(out, rows, {Align::kLeft, Align::kLeft, Align::kRight, Align::kLeft});
}

}  // namespace gyrebox::client
