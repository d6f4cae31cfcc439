#include "cpu/step.h"

#include <stdexcept>

namespace gyrebox::kernels {

StepCodes RunnableStepCodes() {
  StepCodes out{};
  __builtin_cpu_init();
  if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512bw") && __builtin_cpu_supports("avx512dq") &&
      __builtin_cpu_supports("avx512vl") && __builtin_cpu_supports("avx512cd")) {
    out.codes[out.count++] = &v4::kStepCode;
  }
  if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma") && __builtin_cpu_supports("bmi2")) {
    out.codes[out.count++] = &v3::kStepCode;
  }
  return out;
}

const StepCode& BestStepCode() {
  const StepCodes runnable = RunnableStepCodes();
  if (runnable.count == 0) {
    throw std::runtime_error("this processor lacks AVX2 and FMA (x86-64-v3), which the CPU backend needs");
  }
  return *runnable.codes[0];
}

}  // namespace gyrebox::kernels
