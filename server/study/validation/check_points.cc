#include "study/validation/check_points.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "schema/number_text.h"
#include "study/expand.h"
#include "study/number_at.h"
#include "study/point_setter.h"
#include "study/round_off.h"
#include "study/run_spec.h"
#include "study/schedule.h"
#include "study/validation/check_changes.h"

namespace gyrebox::study {

using schema::NumberText;

constexpr double kMaxSteps = 1e12;
/// Max kept frames of a run.
constexpr int64_t kMaxFrames = 100'000;
/// Max sweeps times beads in one step on a GPU, which takes some seconds.
constexpr double kMaxBeadSweeps = 5e9;
constexpr double kGibibyte = 1024.0 * 1024 * 1024;

static std::string FourDigits(double value) { return NumberText(value, 4); }

class PointChecker {
 public:
  PointChecker(const v1::StudySpec& spec, const kernels::Device* device,
               const std::shared_ptr<const kernels::SavedBed>& saved, Violations* violations)
      : spec_(spec), setter_(spec), device_(device), saved_(saved), violations_(violations) {
    const bool step_sound = !setter_.gives_step() || Sound("dynamics.time_step");
    const bool schedule_sound = AllSound("schedule") && step_sound;
    steps_sound_ = schedule_sound && (spec.schedule().stages_size() > 0 || Sound("schedule.duration"));
    changes_sound_ = AllSound("drive") && AxesSound("schedule");
    period_sound_ = schedule_sound && AllSound("drive");
    interval_sound_ = Sound("measure.interval") && step_sound;
    spinners_sound_ = Sound("bed.spinner_fraction") && Sound("bed.bead_count");
    all_sound_ = violations->empty();
  }

  /// Checks a point: the first in full, the others only in what differs between points.
  void Check(const std::vector<double>& point) {
    const v1::StudySpec& at = setter_.At(point);
    const bool first = std::exchange(first_, false);
    const bool step_varies = Varies("dynamics.time_step") || !setter_.gives_step();
    const bool steps_vary = first || Varies("schedule") || step_varies;
    // Which wave is active at a steered adjustment depends on the steps.
    const bool changes_vary = at.schedule().steering().adjustments().empty() ? first || Varies("schedule") : steps_vary;
    if (steps_sound_ && steps_vary) CheckSteps(at);
    if (changes_sound_ && changes_vary) CheckChanges(at);
    if (period_sound_ && (steps_vary || Varies("drive"))) CheckPeriod(at);
    if (interval_sound_ && (first || Varies("measure.interval") || step_varies)) CheckInterval(at);
    if (spinners_sound_ && (first || Varies("bed"))) CheckSpinners(at);
    if (all_sound_ && violations_->empty()) CheckKernels(at);
  }

 private:
  /// Whether a field is given, and both the field and the axis that varies it, if any, are sound.
  bool Sound(const std::string& path) const {
    const std::string blame = Blame(path);
    const bool given = blame != path || NumberAt(spec_, path).has_value();
    return given && violations_->Sound(path) && violations_->Sound(blame);
  }

  /// Whether an axis varies this field, or a field of this message.
  bool Varies(const std::string& path) const {
    return std::any_of(spec_.axes().begin(), spec_.axes().end(), [&](const v1::Axis& axis) {
      return axis.field() == path || axis.field().starts_with(path + ".");
    });
  }

  /// Whether a message, and every axis that varies one of its fields, are sound.
  bool AllSound(const std::string& path) const { return violations_->Sound(path) && AxesSound(path); }

  /// Whether every axis that varies a field of a message is sound.
  bool AxesSound(const std::string& path) const {
    for (int i = 0; i < spec_.axes_size(); ++i) {
      const bool inside = spec_.axes(i).field().starts_with(path + ".");
      if (inside && !violations_->Sound("axes[" + std::to_string(i) + "]")) return false;
    }
    return true;
  }

  /// Path of the first axis field in a message; `otherwise` if there is none.
  std::string VariedIn(const std::string& message, const std::string& otherwise) const {
    for (const v1::Axis& axis : spec_.axes()) {
      if (axis.field().starts_with(message + ".")) return axis.field();
    }
    return otherwise;
  }

  /// Path to blame for a field: the axis that varies it, else the field itself.
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
    const v1::Schedule& schedule = at.schedule();
    const double time_step = at.dynamics().time_step();
    double total = schedule.stages().empty() ? schedule.duration() : 0;
    if (schedule.stages().empty() && IsTooShort(total, time_step)) AddTooShort("schedule.duration", total, time_step);
    for (int i = 0; i < schedule.stages_size(); ++i) {
      const double duration = schedule.stages(i).duration();
      if (IsTooShort(duration, time_step))
        AddTooShort("schedule.stages[" + std::to_string(i) + "].duration", duration, time_step);
      total += schedule.stages(i).duration();
    }
    if (total / time_step <= kMaxSteps) return;
    Add(schedule.stages().empty() ? "schedule.duration" : "schedule.stages",
        NumberText(total) + " tau is " + FourDigits(total / time_step) + " steps, which is too many; at most " +
            NumberText(kMaxSteps) + " steps, " + FourDigits(kMaxSteps * time_step) + " tau");
  }

  static bool IsTooShort(double duration, double time_step) { return !(duration / time_step >= 0.5); }

  void AddTooShort(const std::string& path, double duration, double time_step) {
    Add(path, NumberText(duration) + " tau is shorter than one step; at least the time step of " +
                  NumberText(time_step) + " tau");
  }

  void CheckChanges(const v1::StudySpec& at) {
    for (const BadChange& bad : BadChanges(at)) {
      if (violations_->Sound(bad.path)) Add(bad.path, bad.description);
    }
  }

  void CheckPeriod(const v1::StudySpec& at) {
    const HighestFrequency highest = HighestFrequencyOf(at);
    const double frequency = highest.of_spinner, time_step = at.dynamics().time_step();
    const double steered = HighestSteeredFrequency(at);
    if (!IsTooFast(frequency, time_step)) {
      if (IsTooFast(steered, time_step)) {
        Add("schedule.steering", "its highest frequency of " + TooFastText(steered, time_step));
      }
      return;
    }
    const bool simple = at.drive().has_sine() && highest.stage < 0 && frequency == at.drive().sine().frequency();
    Add(FrequencyPath(at, highest.stage),
        (simple ? "" : "its highest frequency of ") + TooFastText(frequency, time_step));
  }

  /// Path of the frequency that applies from a stage on, or from the start.
  std::string FrequencyPath(const v1::StudySpec& at, int stage) const {
    if (stage >= 0) {
      const std::string path = "schedule.stages[" + std::to_string(stage) + "]";
      return VariedIn(path, path);
    }
    const auto& choice = *at.drive().GetDescriptor()->FindOneofByName("waveform");
    const std::string wave = at.drive().GetReflection()->GetOneofFieldDescriptor(at.drive(), &choice)->name();
    const std::string path = "drive." + wave + (wave == "sum" ? ".terms" : ".frequency");
    return Blame(path) == path ? VariedIn("drive." + wave, path) : path;
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
                                    " beads rounds to no spinner at all; give 0, or at least " + FourDigits(1 / beads));
  }

  void CheckKernels(const v1::StudySpec& at) {
    const kernels::RunSpec run = ToRunSpec(at, at.seeds(), saved_);
    const auto faults = kernels::Validate(run);
    for (const auto& fault : faults) Add(StudyPathOf(fault.field), fault.reason);
    CheckFrames(at, run);
    CheckSolver(run);
    if (!faults.empty() || device_ == nullptr) return;
    const auto bytes = static_cast<double>(device_->BytesOf(run)), room = static_cast<double>(device_->memory_bytes());
    if (bytes > room) {
      Add("bed.bead_count", NumberText(static_cast<double>(run.n_beads)) + " beads need " +
                                FourDigits(bytes / kGibibyte) + " GiB; the device has " + FourDigits(room / kGibibyte) +
                                " GiB for beds");
    }
  }

  /// A GPU executes a step in one launch, and everyone who needs the device waits for it. A CPU can abort a step.
  void CheckSolver(const kernels::RunSpec& run) {
    const bool converged = run.dynamics.equation == kernels::DynamicsSpec::Equation::kConverged;
    const double most = std::floor(kMaxBeadSweeps / static_cast<double>(run.n_beads));
    if (!converged || device_ == nullptr || device_->name() == "cpu" ||
        run.dynamics.max_iterations <= std::max(most, 1.0))
      return;
    Add("dynamics.overdamped.converged.max_iterations",
        NumberText(run.dynamics.max_iterations) + " sweeps of " + NumberText(static_cast<double>(run.n_beads)) +
            " beads may hold the device for too long in one step; at most " + NumberText(std::max(most, 1.0)) +
            " for so many beads on this device");
  }

  void CheckFrames(const v1::StudySpec& at, const kernels::RunSpec& run) {
    const int64_t steps = FrameStepsOf(at, run);
    if (steps == 0) return;
    const std::string interval = NumberText(at.measure().frame_interval());
    if (run.n_beads > kMaxFrameBeads) {
      Add("measure.frame_interval", interval + " tau keeps frames of " + NumberText(static_cast<double>(run.n_beads)) +
                                        " beads; they are kept of up to " +
                                        NumberText(static_cast<double>(kMaxFrameBeads)) + ". Give 0");
    } else if (run.n_steps / steps > kMaxFrames) {
      Add("measure.frame_interval",
          interval + " tau keeps " + NumberText(static_cast<double>(run.n_steps / steps)) +
              " frames of a run; at most " + NumberText(static_cast<double>(kMaxFrames)) + ", from " +
              FourDigits(static_cast<double>(run.n_steps) * run.time_step / static_cast<double>(kMaxFrames)) +
              " tau on");
    }
  }

  const v1::StudySpec& spec_;
  PointSetter setter_;
  bool first_ = true;
  const kernels::Device* const device_;
  const std::shared_ptr<const kernels::SavedBed> saved_;
  Violations* violations_;
  bool steps_sound_, changes_sound_, period_sound_, interval_sound_, spinners_sound_, all_sound_;
};

void CheckPoints(const v1::StudySpec& spec, const kernels::Device* device,
                 const std::shared_ptr<const kernels::SavedBed>& saved, const Stop& stop, Violations* violations) {
  v1::StudySpec checked = spec;
  if (!violations->Sound("axes")) checked.clear_axes();
  PointChecker checker(checked, device, saved, violations);
  for (const auto& point : Points(checked)) {
    if (stop.asked() || violations->full()) return;
    checker.Check(point);
  }
}

}  // namespace gyrebox::study
