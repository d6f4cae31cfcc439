#include "study/validation/check_changes.h"

#include <algorithm>
#include <iterator>
#include <utility>

#include "schema/field_path.h"
#include "study/number_at.h"
#include "study/rules.h"
#include "study/run_settings.h"
#include "study/schedule.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;

static bool IsFriction(const FieldDescriptor& change) {
  return change.number() == v1::RunSettings::kFrictionTangentialFieldNumber ||
         change.number() == v1::RunSettings::kFrictionNormalFieldNumber;
}

/// @param wave the field that holds the wave of this stage. @param prefix gives the path of the changes, with a dot.
template <class Prefix>
static void Check(const v1::StudySpec& at, const v1::RunSettings& changes, const FieldDescriptor& wave, Prefix prefix,
                  std::vector<BadChange>* bad) {
  if (changes.ByteSizeLong() == 0) return;
  for (const FieldDescriptor* number : AdjustableNumbers()) {
    const FieldDescriptor& change = *number;
    if (!changes.GetReflection()->HasField(changes, number)) continue;
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

/// The waves of a run, each with its first step, in order.
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

std::vector<BadChange> BadChangesIn(const v1::StudySpec& at, const v1::RunSettings& change,
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
  const auto& steered = at.schedule().steering().adjustments();
  if (steered.empty()) return bad;
  const auto waves = WavesOf(at);
  for (int i = 0; i < steered.size(); ++i) {
    const auto prefix = [i] { return "schedule.steering.adjustments[" + std::to_string(i) + "].change."; };
    Check(at, steered[i].change(), *WaveAt(waves, steered[i].step()), prefix, &bad);
  }
  return bad;
}

const FieldDescriptor* WaveAt(const v1::StudySpec& at, int64_t step) { return WaveAt(WavesOf(at), step); }

}  // namespace gyrebox::study
