/// Adjustable settings of a run.
#pragma once

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// Values of everything adjustable.
struct Settings {
  WaveSpec wave;
  DisorderSpec disorder;
  double temperature = 0;
  FrictionSpec friction;

  Settings() = default;
  explicit Settings(const RunSpec& spec)
      : wave(spec.drive.wave), disorder(spec.drive.disorder), temperature(spec.temperature), friction(spec.friction) {}
  double& operator[](Parameter parameter);
};

}  // namespace gyrebox::kernels
