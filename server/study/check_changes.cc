#include "study/check_changes.h"

#include "study/number_at.h"
#include "study/rules.h"

namespace gyrebox::study {

using google::protobuf::Descriptor;
using google::protobuf::FieldDescriptor;
using google::protobuf::Message;

/// The field that holds the wave of a drive or of a step; null where there is none.
static const FieldDescriptor* WaveField(const Message& holder) {
  const auto* choice = holder.GetDescriptor()->FindOneofByName("waveform");
  return holder.GetReflection()->GetOneofFieldDescriptor(holder, choice);
}

static bool IsOfWave(const FieldDescriptor& change) {
  return change.number() <= v1::Adjustable::kModulationFrequencyFieldNumber;
}

/// The field of the study that a change sets; null where the wave has no such number.
static const FieldDescriptor* FieldSet(const FieldDescriptor& change, const Descriptor& wave) {
  if (IsOfWave(change)) return wave.FindFieldByName(change.name());
  switch (change.number()) {
    case v1::Adjustable::kTemperatureFieldNumber:
      return v1::Thermal::descriptor()->FindFieldByName("temperature");
    case v1::Adjustable::kFrictionTangentialFieldNumber:
      return v1::Friction::descriptor()->FindFieldByName("tangential");
    case v1::Adjustable::kFrictionNormalFieldNumber:
      return v1::Friction::descriptor()->FindFieldByName("normal");
    default:
      return v1::Disorder::descriptor()->FindFieldByName(change.name());
  }
}

static bool IsFriction(const FieldDescriptor& change) {
  return change.number() == v1::Adjustable::kFrictionTangentialFieldNumber ||
         change.number() == v1::Adjustable::kFrictionNormalFieldNumber;
}

/// @param wave the field that holds the wave of this stage.
static void Check(const v1::StudySpec& at, const v1::Adjustable& changes, const FieldDescriptor& wave,
                  const std::string& prefix, std::vector<BadChange>* bad) {
  const Descriptor& descriptor = *changes.GetDescriptor();
  for (int i = 0; i < descriptor.field_count(); ++i) {
    const FieldDescriptor& change = *descriptor.field(i);
    if (change.message_type() != nullptr || !changes.GetReflection()->HasField(changes, &change)) continue;
    const std::string path = prefix + change.name();
    const FieldDescriptor* set = FieldSet(change, *wave.message_type());
    if (set == nullptr) {
      bad->push_back({path, "the wave here is " + wave.name() + ", which has no " + change.name()});
    } else if (IsFriction(change) && at.dynamics().has_brownian()) {
      bad->push_back({path, "there is no friction between beads in brownian dynamics; leave it out"});
    } else if (const std::string fault = Fault(GetNumber(changes, change), *set); !fault.empty()) {
      bad->push_back({path, fault});
    }
  }
}

std::vector<BadChange> BadChanges(const v1::StudySpec& at) {
  std::vector<BadChange> bad;
  const FieldDescriptor* wave = WaveField(at.drive());
  if (wave == nullptr) return bad;
  for (int i = 0; i < at.schedule().stages_size(); ++i) {
    const v1::Stage& stage = at.schedule().stages(i);
    const std::string prefix = "schedule.stages[" + std::to_string(i) + "].";
    if (const FieldDescriptor* other = WaveField(stage.step())) wave = other;
    Check(at, stage.step(), *wave, prefix + "step.", &bad);
    Check(at, stage.ramp(), *wave, prefix + "ramp.", &bad);
  }
  return bad;
}

}  // namespace gyrebox::study
