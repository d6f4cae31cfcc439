#include "study/check_changes.h"

#include "schema/field_path.h"
#include "study/number_at.h"
#include "study/rules.h"
#include "study/schedule.h"

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

std::string PathSet(const FieldDescriptor& change, const FieldDescriptor& wave) {
  if (change.message_type() != nullptr) return "";
  if (IsOfWave(change)) {
    const bool has = wave.message_type()->FindFieldByName(change.name()) != nullptr;
    return has ? "drive." + wave.name() + "." + change.name() : "";
  }
  switch (change.number()) {
    case v1::Adjustable::kTemperatureFieldNumber:
      return "thermal.temperature";
    case v1::Adjustable::kFrictionTangentialFieldNumber:
      return "friction.tangential";
    case v1::Adjustable::kFrictionNormalFieldNumber:
      return "friction.normal";
    default:
      return "drive.disorder." + change.name();
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
    const std::string set = PathSet(change, wave);
    if (set.empty()) {
      bad->push_back({path, "the wave here is " + wave.name() + ", which has no " + change.name()});
    } else if (IsFriction(change) && at.dynamics().has_brownian()) {
      bad->push_back({path, "there is no friction between beads in brownian dynamics; leave it out"});
    } else if (const std::string fault =
                   Fault(GetNumber(changes, change), *schema::FindField(*v1::StudySpec::descriptor(), set));
               !fault.empty()) {
      bad->push_back({path, fault});
    }
  }
}

std::vector<BadChange> BadChangesIn(const v1::StudySpec& at, const v1::Adjustable& change,
                                    const FieldDescriptor& wave) {
  std::vector<BadChange> bad;
  Check(at, change, wave, "", &bad);
  return bad;
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
  const auto& steered = at.schedule().steering().changes();
  for (int i = 0; i < steered.size(); ++i) {
    const std::string prefix = "schedule.steering.changes[" + std::to_string(i) + "].change.";
    Check(at, steered[i].change(), *WaveAt(at, steered[i].step()), prefix, &bad);
  }
  return bad;
}

const FieldDescriptor* WaveAt(const v1::StudySpec& at, int64_t step) {
  const FieldDescriptor* wave = WaveField(at.drive());
  int64_t begin = 0;
  for (const v1::Stage& stage : at.schedule().stages()) {
    if (begin > step) break;
    if (const FieldDescriptor* other = WaveField(stage.step())) wave = other;
    begin += StepsOf(stage, at.dynamics().time_step());
  }
  return wave;
}

}  // namespace gyrebox::study
