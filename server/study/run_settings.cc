#include "study/run_settings.h"

#include "gyrebox/v1/rule.pb.h"
#include "study/number_at.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;
using kernels::Parameter;

static constexpr char kWaveform[] = "{waveform}";

// Parameters stand in the order of the numbers.
static_assert(v1::RunSettings::kAmplitudeFieldNumber == static_cast<int>(Parameter::kAmplitude) + 1);
static_assert(v1::RunSettings::kModulationFrequencyFieldNumber ==
              static_cast<int>(Parameter::kModulationFrequency) + 1);
static_assert(v1::RunSettings::kFrictionNormalFieldNumber == static_cast<int>(Parameter::kFrictionNormal) + 1);
static_assert(v1::RunSettings::kOppositeFractionFieldNumber == static_cast<int>(Parameter::kOppositeFraction) + 1);

const std::vector<const FieldDescriptor*>& AdjustableNumbers() {
  static const auto numbers = [] {
    std::vector<const FieldDescriptor*> all;
    for (int i = 0; i < v1::RunSettings::descriptor()->field_count(); ++i) {
      const FieldDescriptor* field = v1::RunSettings::descriptor()->field(i);
      if (!field->options().GetExtension(v1::rule).sets().empty()) all.push_back(field);
    }
    return all;
  }();
  return numbers;
}

Parameter ParameterOf(const FieldDescriptor& number) { return static_cast<Parameter>(number.number() - 1); }

std::string PathSet(const FieldDescriptor& number, const FieldDescriptor& wave) {
  std::string path = number.options().GetExtension(v1::rule).sets();
  const size_t waveform = path.find(kWaveform);
  if (waveform == std::string::npos) return path;
  if (wave.message_type()->FindFieldByName(number.name()) == nullptr) return "";
  return path.replace(waveform, sizeof kWaveform - 1, wave.name());
}

const FieldDescriptor* WaveField(const Message& holder) {
  return holder.GetReflection()->GetOneofFieldDescriptor(holder, holder.GetDescriptor()->FindOneofByName("waveform"));
}

static void SetWave(const v1::RunSettings& settings, v1::Drive* drive) {
  const FieldDescriptor* wave = WaveField(settings);
  if (wave == nullptr) return;
  const FieldDescriptor* same = v1::Drive::descriptor()->FindFieldByName(wave->name());
  drive->GetReflection()->MutableMessage(drive, same)->CopyFrom(settings.GetReflection()->GetMessage(settings, wave));
}

std::optional<double> WaveNumber(const v1::Drive& drive, const std::string& name) {
  const FieldDescriptor* wave = WaveField(drive);
  return wave == nullptr ? std::nullopt : NumberAt(drive, wave->name() + "." + name);
}

bool Apply(const v1::RunSettings& settings, v1::StudySpec* at) {
  SetWave(settings, at->mutable_drive());
  const FieldDescriptor* wave = WaveField(at->drive());
  bool any = false;
  for (const FieldDescriptor* number : AdjustableNumbers()) {
    if (wave == nullptr || !settings.GetReflection()->HasField(settings, number)) continue;
    const std::string path = PathSet(*number, *wave);
    if (path.empty()) continue;
    SetNumberAt(at, path, GetNumber(settings, *number));
    any = true;
  }
  return any;
}

void AddChanges(const v1::RunSettings& settings, bool ramp, std::vector<kernels::Change>* changes) {
  for (const FieldDescriptor* number : AdjustableNumbers()) {
    if (!settings.GetReflection()->HasField(settings, number)) continue;
    changes->push_back({.parameter = ParameterOf(*number), .value = GetNumber(settings, *number), .ramp = ramp});
  }
}

}  // namespace gyrebox::study
