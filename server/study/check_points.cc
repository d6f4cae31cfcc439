#include "study/check_points.h"

#include <cmath>

#include "schema/number_text.h"
#include "study/expand.h"
#include "study/number_at.h"
#include "study/run_spec.h"

namespace gyrebox::study {

using schema::NumberText;

constexpr double kMostSteps = 1e12;
constexpr double kStepsPerPeriod = 20;
constexpr double kGibibyte = 1024.0 * 1024 * 1024;
/// Lets a quotient that is meant to be on a bound pass it.
constexpr double kRoundOff = 1e-9;

static std::string Short(double value) { return NumberText(value, 4); }

class PointChecker {
 public:
  PointChecker(const v1::StudySpec& spec, int64_t memory_bytes, Violations* violations)
      : spec_(spec), memory_bytes_(memory_bytes), violations_(violations) {
    steps_sound_ = Sound("schedule.duration") && Sound("dynamics.time_step");
    period_sound_ = Sound("drive.sine.frequency") && Sound("dynamics.time_step");
    interval_sound_ = Sound("measure.interval") && Sound("dynamics.time_step");
    spinners_sound_ = Sound("bed.spinner_fraction") && Sound("bed.bead_count");
    all_sound_ = violations->empty();
  }

  void Check(const std::vector<double>& point) {
    const v1::StudySpec at = AtPoint(spec_, point);
    if (steps_sound_) CheckSteps(at);
    if (period_sound_) CheckPeriod(at);
    if (interval_sound_) CheckInterval(at);
    if (spinners_sound_) CheckSpinners(at);
    if (all_sound_ && violations_->empty()) CheckKernels(at);
  }

 private:
  /// Whether a field is given, and it and the axis that varies it if any are sound.
  bool Sound(const std::string& path) const {
    const std::string blame = Blame(path);
    const bool given = blame != path || NumberAt(spec_, path).has_value();
    return given && violations_->Sound(path) && violations_->Sound(blame);
  }

  /// Where the study sets a field: at the field, or at the axis that varies it.
  std::string Blame(const std::string& path) const {
    for (int i = 0; i < spec_.axes_size(); ++i) {
      if (spec_.axes(i).field() == path) return "axes[" + std::to_string(i) + "]";
    }
    return path;
  }

  void Add(const std::string& path, const std::string& description) {
    const std::string blame = Blame(path);
    violations_->Add(blame, blame == path ? description : path + ": " + description);
  }

  void CheckSteps(const v1::StudySpec& at) {
    const double duration = at.schedule().duration(), time_step = at.dynamics().time_step();
    const double steps = duration / time_step;
    if (steps < 0.5) {
      Add("schedule.duration", NumberText(duration) + " tau is shorter than one step; at least the time step of " +
                                   NumberText(time_step) + " tau");
    } else if (steps > kMostSteps) {
      Add("schedule.duration", NumberText(duration) + " tau is " + Short(steps) +
                                   " steps, which is too many; at most " + NumberText(kMostSteps) + " steps, " +
                                   Short(kMostSteps * time_step) + " tau");
    }
  }

  void CheckPeriod(const v1::StudySpec& at) {
    const double period = DrivePeriod(at), time_step = at.dynamics().time_step();
    if (period / time_step >= kStepsPerPeriod * (1 - kRoundOff)) return;
    Add("drive.sine.frequency",
        NumberText(at.drive().sine().frequency()) + " cycles/tau leaves " + Short(period / time_step) +
            " steps a period, which is too few; at least 20: a frequency of at most " +
            Short(1 / (kStepsPerPeriod * time_step)) + " cycles/tau, or dynamics.time_step of at most " +
            Short(period / kStepsPerPeriod) + " tau");
  }

  void CheckInterval(const v1::StudySpec& at) {
    const double interval = at.measure().interval(), time_step = at.dynamics().time_step();
    if (interval >= time_step * (1 - kRoundOff)) return;
    Add("measure.interval", NumberText(interval) + " tau is shorter than one step; at least the time step of " +
                                NumberText(time_step) + " tau");
  }

  void CheckSpinners(const v1::StudySpec& at) {
    const double fraction = at.bed().spinner_fraction(), beads = static_cast<double>(at.bed().bead_count());
    if (fraction == 0 || std::llround(fraction * beads) > 0) return;
    Add("bed.spinner_fraction", NumberText(fraction) + " of " + NumberText(beads) +
                                    " beads rounds to no spinner at all; give 0, or at least " + Short(1 / beads));
  }

  void CheckKernels(const v1::StudySpec& at) {
    const kernels::RunSpec run = ToRunSpec(at, at.seeds());
    const auto faults = kernels::Validate(run);
    for (const auto& fault : faults) Add(StudyPathOf(fault.field), fault.reason);
    if (!faults.empty()) return;
    const auto bytes = static_cast<double>(kernels::MemoryBytes(run));
    if (bytes > static_cast<double>(memory_bytes_)) {
      Add("bed.bead_count", NumberText(static_cast<double>(run.n_beads)) + " beads need " + Short(bytes / kGibibyte) +
                                " GiB; the device has " + Short(static_cast<double>(memory_bytes_) / kGibibyte) +
                                " GiB for beds");
    }
  }

  const v1::StudySpec& spec_;
  const int64_t memory_bytes_;
  Violations* violations_;
  bool steps_sound_, period_sound_, interval_sound_, spinners_sound_, all_sound_;
};

void CheckPoints(const v1::StudySpec& spec, int64_t memory_bytes, Violations* violations) {
  v1::StudySpec checked = spec;
  if (!violations->Sound("axes")) checked.clear_axes();
  PointChecker checker(checked, memory_bytes, violations);
  for (const auto& point : Points(checked)) checker.Check(point);
}

}  // namespace gyrebox::study
