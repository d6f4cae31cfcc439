#include "output/live_runs.h"

#include "output/text.h"
#include "schema/number_text.h"

namespace gyrebox::client {

constexpr int kRunsShown = 3;
constexpr std::chrono::seconds kPause{2};
constexpr int kLiveDigits = 4;

static std::string Number(double value) { return schema::NumberText(value, kLiveDigits); }

std::string LiveText(const v1::RunRow& row, const v1::Observable& observable) {
  std::string text = "run " + RunLabel(row.run()) + ": ";
  if (row.has_size()) {
    text += Number(row.size()) + (observable.unit().empty() ? "" : " " + observable.unit()) + " at " +
            Number(row.size_time()) + " tau";
  } else {
    text += "no sample yet";
  }
  const v1::AppliedDrive& drive = row.drive();
  text += ", drive " + Number(drive.amplitude()) + " " + drive.unit();
  return drive.frequency() > 0 ? text + " at " + Number(drive.frequency()) + " cycles/tau" : text;
}

void LiveRuns::Follow(const v1::Study& study) {
  if (Clock::now() < next_) return;
  next_ = Clock::now() + kPause;
  lines_.clear();
  if (study.run_counts().running_count() == 0) return;
  const auto running = client_.TabulateRunning(study.name(), kRunsShown);
  if (!running.ok()) return;  // the next answer comes soon
  for (const v1::RunRow& row : running->rows()) lines_.push_back(LiveText(row, running->observable()));
  const int more = study.run_counts().running_count() - running->rows_size();
  if (more > 0 && !lines_.empty()) lines_.push_back("and " + Plural(more, "running run") + " more");
}

}  // namespace gyrebox::client
