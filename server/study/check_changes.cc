#include "study/check_changes.h"

#include <algorithm>
#include <iterator>
#include <utility>

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

/// @param wave the field that holds the wave of this stage. @param prefix gives the path of the changes, with a dot.
template <class Prefix>
static void Check(const v1::StudySpec& at, const v1::Adjustable& changes, const FieldDescriptor& wave, Prefix prefix,
                  std::vector<BadChange>* bad) {
  if (changes.ByteSizeLong() == 0) return;
  const Descriptor& descriptor = *changes.GetDescriptor();
  for (int i = 0; i < descriptor.field_count(); ++i) {
    const FieldDescriptor& change = *descriptor.field(i);
    if (change.message_type() != nullptr || !changes.GetReflection()->HasField(changes, &change)) continue;
    const auto path = [&] { return prefix() + change.name(); };
    const std::string set = PathSet(change, wave);
    if (set.empty()) {
      bad->push_back({path(), "the wave here is " + wave.name() + ", which has no " + change.name()});
    } else if (IsFriction(change) && at.dynamics().has_brownian()) {
      bad->push_back({path(), "there is no friction between beads in brownian dynamics; leave it out"});
    } else if (const std::string fault =
                   Fault(GetNumber(changes, change), *schema::FindField(*v1::StudySpec::descriptor(), set));
               !fault.empty()) {
      bad->push_back({path(), fault});
    }
  }
}

/// The waves of a run, each with its first step, in the order in which they hold.
static std::vector<std::pair<int64_t, const FieldDescriptor*>> WavesOf(const v1::StudySpec& at) {
  std::vector<std::pair<int64_t, const FieldDescriptor*>> waves = {{0, WaveField(at.drive())}};
  int64_t begin = 0;
  for (const v1::Stage& stage : at.schedule().stages()) {
    if (const FieldDescriptor* other = WaveField(stage.step())) waves.emplace_back(begin, other);
    begin += StepsOf(stage, at.dynamics().time_step());
  }
  return waves;
}

static const FieldDescriptor* WaveAt(const std::vector<std::pair<int64_t, const FieldDescriptor*>>& waves,
                                     int64_t step) {
  const auto after = std::upper_bound(waves.begin() + 1, waves.end(), step,
                                      [](int64_t value, const auto& wave) { return value < wave.first; });
  return std::prev(after)->second;
}

std::vector<BadChange> BadChangesIn(const v1::StudySpec& at, const v1::Adjustable& change,
                                    const FieldDescriptor& wave) {
  std::vector<BadChange> bad;
  Check(
      at, change, wave, [] { return std::string(); }, &bad);
  return bad;
}

std::vector<BadChange> BadChanges(const v1::StudySpec& at) {
  std::vector<BadChange> bad;
  const FieldDescriptor* wave = WaveField(at.drive());
  if (wave == nullptr) return bad;
  for (int i = 0; i < at.schedule().stages_size(); ++i) {
    const v1::Stage& stage = at.schedule().stages(i);
    const auto prefix = [i](const char* part) { return "schedule.stages[" + std::to_string(i) + "]." + part; };
    if (const FieldDescriptor* other = WaveField(stage.step())) wave = other;
    Check(
        at, stage.step(), *wave, [&] { return prefix("step."); }, &bad);
    Check(
        at, stage.ramp(), *wave, [&] { return prefix("ramp."); }, &bad);
  }
  const auto& steered = at.schedule().steering().changes();
  if (steered.empty()) return bad;
  const auto waves = WavesOf(at);
  for (int i = 0; i < steered.size(); ++i) {
    const auto prefix = [i] { return "schedule.steering.changes[" + std::to_string(i) + "].change."; };
    Check(at, steered[i].change(), *WaveAt(waves, steered[i].step()), prefix, &bad);
  }
  return bad;
}

const FieldDescriptor* WaveAt(const v1::StudySpec& at, int64_t step) { return WaveAt(WavesOf(at), step); }

}  // namespace gyrebox::study
