#include "study/doubtful_fields.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "gyrebox/step_choice.h"
#include "gyrebox/units.h"
#include "schema/number_text.h"
#include "study/expand.h"
#include "study/number_at.h"
#include "study/point_setter.h"
#include "study/realizations.h"
#include "study/run_settings.h"
#include "study/run_spec.h"
#include "study/time_step.h"

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

/// Fraction by which two frequencies may differ and still agree: they are mostly given to two digits.
constexpr double kSameFrequency = 0.02;

/// Units of the laboratory at a point; none if the study does not tell.
static std::optional<units::Scale> ScaleAt(const v1::StudySpec& at) {
  const v1::Laboratory& lab = at.laboratory();
  const bool known = lab.has_bead_diameter_um() && lab.has_viscosity_mpa_s() && lab.has_temperature_k();
  if (!known || !(at.thermal().temperature() > 0)) return std::nullopt;
  return units::ScaleOf(lab.bead_diameter_um() * 1e-6, lab.viscosity_mpa_s() * 1e-3, lab.temperature_k(),
                        at.thermal().temperature());
}

/// Compares the frequency of the drive with that of the laboratory, point by point.
class FrequencyCheck {
 public:
  void Add(const v1::StudySpec& at, double frequency) {
    if (!at.laboratory().has_frequency_hz()) return;
    const double hertz = at.laboratory().frequency_hz();
    const auto scale = ScaleAt(at);
    if (!scale) {
      if (frequency == hertz) {
        doubt_ =
            PathOfFrequency(at) +
            " equals laboratory.frequency_hz: it is in cycles per tau, not in Hz; gyrebox units tells how long tau "
            "is";
      }
      return;
    }
    const double meant = scale->ReducedFrequency(hertz);
    agrees_ = agrees_ || std::abs(frequency - meant) <= kSameFrequency * meant;
    if (!doubt_.empty()) return;
    doubt_ = PathOfFrequency(at) + " of " + schema::NumberText(frequency, 3) + " cycles/tau is " +
             schema::NumberText(scale->Frequency(frequency), 3) + " Hz in this laboratory, where tau is " +
             schema::NumberText(scale->time, 3) + " s, and laboratory.frequency_hz is " + schema::NumberText(hertz, 3) +
             "; " + schema::NumberText(meant, 3) + " cycles/tau would agree";
  }

  /// Empty if the frequency agrees at any point, or cannot be compared.
  std::string doubt() const { return agrees_ ? "" : doubt_; }

 private:
  std::string doubt_;
  bool agrees_ = false;
};

/// Finds points whose drive presses beads closer together than a run may have them.
class OverlapCheck {
 public:
  void Add(const v1::StudySpec& at) {
    ++points_;
    const double closest = at.health().closest_pair();
    const kernels::Peaks peaks = PeaksOf(at);
    if (closest <= 0 || !kernels::PressesCloserThan(closest, ToPhysics(at), peaks)) return;
    if (count_++ == 0 || peaks.rate < weakest_) weakest_ = peaks.rate;
    closest_ = closest;
  }

  std::string doubt() const {
    if (count_ == 0) return "";
    return "drive: at " + std::to_string(count_) + " of " + std::to_string(points_) + " points, from a peak rate of " +
           schema::NumberText(weakest_, 3) + " rad/tau on, the drive presses beads in contact closer than the " +
           schema::NumberText(closest_, 3) +
           " sigma of health.closest_pair, so that runs there probably become unstable; give a lower amplitude or " +
           "stiffer forces";
  }

 private:
  int64_t points_ = 0, count_ = 0;
  double weakest_ = 0, closest_ = 0;
};

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
  std::optional<double> radians;
  std::string path;
  FrequencyCheck frequencies;
  OverlapCheck overlaps;
  bool identical = false;
  PointSetter setter(spec);
  for (const auto& point : Points(spec)) {
    if (stop.asked()) return doubts;
    const v1::StudySpec& at = setter.At(point);
    fewest = std::min(fewest, FewestPeriodsOf(at));
    identical = identical || RealizationsAreIdentical(at);
    overlaps.Add(at);
    const auto frequency = WaveNumber(at.drive(), "frequency");
    if (!frequency) continue;
    path = PathOfFrequency(at);
    if (LooksLikeRadians(*frequency)) radians = frequency;
    frequencies.Add(at, *frequency);
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
  for (const std::string& doubt : {frequencies.doubt(), overlaps.doubt()}) {
    if (!doubt.empty()) doubts.push_back(doubt);
  }
  if (identical && spec.trials().count() > 1) {
    doubts.push_back(
        "trials.count: all realizations of a point are the same run, since they start from one saved state "
        "without noise or disorder; give 1, a temperature, or a disorder");
  }
  return doubts;
}

}  // namespace gyrebox::study
