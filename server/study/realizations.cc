#include "study/realizations.h"

#include "study/run_settings.h"

namespace gyrebox::study {

/// Whether the drive or the noise of a run depends on its seeds.
static bool IsRandom(const v1::StudySpec& now) {
  const v1::Disorder& disorder = now.drive().disorder();
  return now.thermal().temperature() > 0 || disorder.amplitude_spread() > 0 || disorder.frequency_spread() > 0 ||
         disorder.phase_spread() > 0 || disorder.jitter() > 0 || disorder.opposite_fraction() > 0;
}

bool RealizationsAreIdentical(const v1::StudySpec& at) {
  if (!at.start().has_saved()) return false;
  v1::StudySpec now = at;
  bool random = IsRandom(now);
  for (const v1::Stage& stage : at.schedule().stages()) {
    Apply(stage.step(), &now);
    random = random || IsRandom(now);
    Apply(stage.ramp(), &now);
    random = random || IsRandom(now);
  }
  return !random;
}

}  // namespace gyrebox::study
