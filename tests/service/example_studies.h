/// Small studies that tests start from.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "store/store.h"

namespace gyrebox::test {

/// 100 beads under a sine drive of frequency 1 for 2 tau: 4000 steps, 17 samples. No defaults filled in.
v1::StudySpec BareStudy();

/// BareStudy() over these amplitudes with this many realizations, all at one time step; defaults filled in.
v1::StudySpec AmplitudeStudy(const std::vector<double>& amplitudes, int trials);

/// The runs of a study in the store's format.
std::vector<store::NewRun> NewRuns(const v1::StudySpec& spec);

}  // namespace gyrebox::test
