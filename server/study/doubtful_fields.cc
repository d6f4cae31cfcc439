#include "study/doubtful_fields.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "schema/number_text.h"
#include "study/expand.h"
#include "study/number_at.h"
#include "study/point_setter.h"
#include "study/realizations.h"
#include "study/run_settings.h"

namespace gyrebox::study {

/// Periods of the drive in a stage below which averages over it are uncertain; common practice.
constexpr double kFewestPeriods = 20;

static std::string PathOfFrequency(const v1::StudySpec& at) {
  return "drive." + WaveField(at.drive())->name() + ".frequency";
}

/// Periods of the drive, or of its modulation, in this time; infinite without a drive or a period.
static double PeriodsIn(const v1::StudySpec& now, double duration) {
  constexpr double kMany = std::numeric_limits<double>::infinity();
  if (WaveNumber(now.drive(), "amplitude").value_or(0) == 0) return kMany;
  auto frequency = WaveNumber(now.drive(), "modulation_frequency");
  if (!frequency) frequency = WaveNumber(now.drive(), "frequency");
  return frequency && *frequency > 0 ? *frequency * duration : kMany;
}

/// Fewest periods of the drive in a stage of a run.
static double FewestPeriodsOf(const v1::StudySpec& at) {
  if (at.schedule().stages().empty()) return PeriodsIn(at, at.schedule().duration());
  double fewest = std::numeric_limits<double>::infinity();
  v1::StudySpec now = at;
  for (const v1::Stage& stage : at.schedule().stages()) {
    Apply(stage.step(), &now);
    if (!Apply(stage.ramp(), &now)) fewest = std::min(fewest, PeriodsIn(now, stage.duration()));
  }
  return fewest;
}

/// Whether a frequency in cycles per tau is a multiple of pi, as one in rad/tau mostly is.
static bool LooksLikeRadians(double frequency) {
  const double turns = frequency / std::numbers::pi, whole = std::round(turns);
  constexpr double kRounding = 5e-4;  // four digits
  return whole >= 1 && std::abs(turns - whole) < kRounding * whole && frequency != std::round(frequency);
}

static void AddOverridden(const v1::StudySpec& sent, std::vector<std::string>* doubts) {
  for (int i = 0; i < sent.axes_size(); ++i) {
    const std::string& field = sent.axes(i).field();
    if (!NumberAt(sent, field)) continue;
    doubts->push_back(field + " is given, but axes[" + std::to_string(i) +
                      "] varies it: only the values of the axis are run; leave it out");
  }
}

std::vector<std::string> DoubtfulFields(const v1::StudySpec& sent, const v1::StudySpec& spec, const Stop& stop) {
  std::vector<std::string> doubts;
  AddOverridden(sent, &doubts);
  double fewest = std::numeric_limits<double>::infinity();
  std::optional<double> radians, hertz;
  std::string path;
  bool identical = false;
  PointSetter setter(spec);
  for (const auto& point : Points(spec)) {
    if (stop.asked()) return doubts;
    const v1::StudySpec& at = setter.At(point);
    fewest = std::min(fewest, FewestPeriodsOf(at));
    identical = identical || RealizationsAreIdentical(at);
    const auto frequency = WaveNumber(at.drive(), "frequency");
    if (!frequency) continue;
    path = PathOfFrequency(at);
    if (LooksLikeRadians(*frequency)) radians = frequency;
    if (spec.laboratory().has_frequency_hz() && spec.laboratory().frequency_hz() == *frequency) hertz = frequency;
  }
  if (fewest < kFewestPeriods) {
    doubts.push_back("schedule: a stage lasts " + schema::NumberText(fewest, 3) +
                     " periods of the drive; averages over fewer than " + schema::NumberText(kFewestPeriods, 2) +
                     " are uncertain; give a longer duration");
  }
  if (radians) {
    doubts.push_back(path + " of " + schema::NumberText(*radians, 5) +
                     " is a multiple of pi: frequencies are in cycles per tau, not in rad/tau");
  }
  if (hertz) {
    doubts.push_back(
        path +
        " equals laboratory.frequency_hz: it is in cycles per tau, not in Hz; gyrebox units tells how long tau is");
  }
  if (identical && spec.trials().count() > 1) {
    doubts.push_back(
        "trials.count: all realizations of a point are the same run, since they start from one saved state "
        "without noise or disorder; give 1, a temperature, or a disorder");
  }
  return doubts;
}

}  // namespace gyrebox::study
